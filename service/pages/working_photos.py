"""Photos of jobs in progress, in memory only: enough to show them and to fit again, gone with the program."""

import io
import threading
from collections import OrderedDict
from dataclasses import dataclass

from PIL import Image, ImageOps

ROOM_BYTES = 400 * 2**20
SHOWN_PX = 1600


@dataclass(frozen=True)
class WorkingPhoto:
    """One upload: what came, a JPEG to show, and the size of the photo as displayed, in pixels."""

    content: bytes
    shown_jpeg: bytes
    width_px: int
    height_px: int


class WorkingPhotos:
    """The most recent uploads, up to ``room_bytes``; the oldest make room."""

    def __init__(self, room_bytes: int = ROOM_BYTES) -> None:
        self._room_bytes = room_bytes
        self._photos: OrderedDict[str, WorkingPhoto] = OrderedDict()
        self._lock = threading.Lock()

    def put(self, key: str, photo: WorkingPhoto) -> None:
        """Hold a photo."""
        with self._lock:
            self._photos[key] = photo
            while len(self._photos) > 1 and sum(map(_weight, self._photos.values())) > self._room_bytes:
                self._photos.popitem(last=False)

    def get(self, key: str) -> WorkingPhoto | None:
        """Return a photo, or None where it is held no longer."""
        with self._lock:
            return self._photos.get(key)

    def drop(self, key: str) -> None:
        """Let a photo go."""
        with self._lock:
            self._photos.pop(key, None)


def prepare_photo(content: bytes) -> WorkingPhoto:
    """Turn an upload that was measured into one that can be shown: upright, small enough, without metadata."""
    import pillow_heif

    pillow_heif.register_heif_opener()
    with Image.open(io.BytesIO(content)) as image:
        upright = ImageOps.exif_transpose(image).convert("RGB")
    width_px, height_px = upright.size
    upright.thumbnail((SHOWN_PX, SHOWN_PX))
    out = io.BytesIO()
    upright.save(out, "JPEG", quality=85)
    return WorkingPhoto(content, out.getvalue(), width_px, height_px)


def _weight(photo: WorkingPhoto) -> int:
    return len(photo.content) + len(photo.shown_jpeg)
