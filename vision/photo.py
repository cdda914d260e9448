"""One photo: its pixels as a person sees them, and what its camera said about the lens."""

import struct
import warnings
from collections.abc import Callable
from dataclasses import dataclass
from functools import cache, cached_property
from io import BytesIO
from pathlib import Path
from typing import Literal

import cv2
import numpy as np
import numpy.typing as npt
import pillow_heif
from PIL import ExifTags, Image, UnidentifiedImageError

from vision.frame import Frame, frame_of, whole_of

Pixels = npt.NDArray[np.uint8]
Trouble = Literal["missing", "unreadable", "broken", "too-large"]

MAX_PIXELS = 120_000_000
MAX_BYTES = 256 * 2**20
FORMATS = ("JPEG", "PNG", "WEBP", "HEIF", "AVIF", "GIF")

# What a lens can be, in mm of 35-mm equivalent. Tags outside hold nonsense (6062, 65535).
F35_MM = (10.0, 200.0)
# Equivalent over true focal length: 1 for full frame, 9 for a phone's ultra-wide lens, 12 for tiny sensors.
# A tag that was scaled with the output's size (177 for a lens of 3.99 mm) falls outside.
CROP_FACTOR = (0.8, 14.0)
# A copy whose sides are not in the ratio that the camera wrote down was cropped: its lens is unknown.
ASPECT_TOLERANCE = 0.02
PLAIN_ASPECTS = (4 / 3, 3 / 2, 16 / 9)

_SIGNATURES = (b"\xff\xd8\xff", b"\x89PNG\r\n\x1a\n", b"RIFF", b"GIF8")
_UNREADABLE_TAGS = (OSError, SyntaxError, ValueError, TypeError, KeyError, struct.error, ZeroDivisionError)
_TURNS: dict[int, Callable[[Pixels], cv2.typing.MatLike]] = {
    2: lambda bgr: cv2.flip(bgr, 1),
    3: lambda bgr: cv2.rotate(bgr, cv2.ROTATE_180),
    4: lambda bgr: cv2.flip(bgr, 0),
    5: cv2.transpose,
    6: lambda bgr: cv2.rotate(bgr, cv2.ROTATE_90_CLOCKWISE),
    7: lambda bgr: cv2.flip(cv2.transpose(bgr), -1),
    8: lambda bgr: cv2.rotate(bgr, cv2.ROTATE_90_COUNTERCLOCKWISE),
}


class PhotoError(Exception):
    """A file that is no photo, or none that can be decoded.

    Attributes
    ----------
    kind : {"missing", "unreadable", "broken", "too-large"}
    message : str
        One line: what, where, how to mend it.
    """

    def __init__(self, kind: Trouble, message: str) -> None:
        super().__init__(message)
        self.kind = kind
        self.message = message


@dataclass(frozen=True, eq=False)
class Photo:
    """A decoded photo.

    Attributes
    ----------
    name : str
        The file's name, for the reader only.
    bgr : (H, W, 3) ndarray of uint8
        The picture as displayed, after EXIF orientation.
    f35_mm : float, optional
        Focal length in mm of 35-mm equivalent, where the tag is plausible and fits the picture's own shape.
    has_exif : bool
        Whether the camera's own data (make, exposure, lens) survived; a bare orientation tag doesn't count.
    """

    name: str
    bgr: Pixels
    f35_mm: float | None = None
    has_exif: bool = False

    @cached_property
    def grey(self) -> Pixels:
        """Luminance, (H, W) uint8."""
        return np.asarray(cv2.cvtColor(self.bgr, cv2.COLOR_BGR2GRAY), np.uint8)

    @property
    def is_copy(self) -> bool:
        """Whether it lost its camera's data, or has a shape that no camera gives."""
        aspect = max(self.width, self.height) / min(self.width, self.height)
        has_data = self.has_exif or self.f35_mm is not None
        return not has_data or min(abs(aspect - plain) for plain in PLAIN_ASPECTS) > ASPECT_TOLERANCE

    @cached_property
    def frame(self) -> Frame | None:
        """What of it a camera saw; None where it may have been cropped."""
        return frame_of(self.grey) if self.is_copy else whole_of(self.grey)

    @property
    def width(self) -> int:
        """Columns of the displayed picture."""
        return int(self.bgr.shape[1])

    @property
    def height(self) -> int:
        """Rows of the displayed picture."""
        return int(self.bgr.shape[0])


@dataclass(frozen=True)
class _Tags:
    """What EXIF says, as far as it can be believed."""

    orientation: int = 1
    f35_mm: float | None = None
    from_camera: bool = False


def read_photo(source: Path | bytes, name: str | None = None) -> Photo:
    """Read a JPEG, PNG, WebP, HEIC, AVIF or GIF picture (its first frame), turned the way a person sees it.

    Parameters
    ----------
    source : Path or bytes
        A file, or its content.
    name : str, optional
        What to call it in messages and answers; a path's own name where left out.

    Returns
    -------
    Photo

    Raises
    ------
    PhotoError
        ``missing``, ``unreadable`` (no picture), ``broken`` (a picture that ends early or doesn't decode) or
        ``too-large`` (by the header, before anything is decoded).
    """
    name = name or (source.name if isinstance(source, Path) else "photo")
    data = source if isinstance(source, bytes) else _read_file(source, name)
    _check_bytes(data, name)
    # Pillow warns of large headers and odd EXIF; the size is judged here, and odd EXIF is read as none.
    with warnings.catch_warnings():
        warnings.simplefilter("ignore")
        with _open(data, name) as header:
            if header.width * header.height > MAX_PIXELS:
                raise _too_large(name, f"{header.width} x {header.height} pixels")
            tags = _read_tags(header)
            bgr = _decode(data, header, name)
    turn = _TURNS.get(tags.orientation)
    bgr = bgr if turn is None else np.asarray(turn(bgr), np.uint8)
    return Photo(name, bgr, tags.f35_mm, tags.from_camera)


def _read_file(path: Path, name: str) -> bytes:
    if not path.exists():
        raise PhotoError("missing", f"{name}: no such file at {path}; check the path.")
    if not path.is_file():
        raise PhotoError("unreadable", f"{name}: {path} is not a file; name the photo itself.")
    try:
        if path.stat().st_size > MAX_BYTES:
            raise _too_large(name, f"{path.stat().st_size // 2**20} MiB")
        return path.read_bytes()
    except OSError as error:
        raise PhotoError(
            "unreadable", f"{name}: {path} can't be read ({error.strerror}); check its permissions."
        ) from error


def _check_bytes(data: bytes, name: str) -> None:
    if not data:
        raise PhotoError("unreadable", f"{name}: the file is empty; copy or send the photo again.")
    if len(data) > MAX_BYTES:
        raise _too_large(name, f"{len(data) // 2**20} MiB")


def _too_large(name: str, size: str) -> PhotoError:
    limit = f"{MAX_PIXELS // 10**6} megapixels and {MAX_BYTES // 2**20} MiB"
    return PhotoError("too-large", f"{name}: {size} is over the limit of {limit}; save it smaller.")


def _broken(name: str) -> PhotoError:
    return PhotoError("broken", f"{name}: the picture is damaged or ends early; copy or send the original again.")


@cache
def _register_heif() -> None:
    pillow_heif.register_heif_opener()


def _open(data: bytes, name: str) -> Image.Image:
    """Open the picture without decoding it."""
    _register_heif()
    try:
        return Image.open(BytesIO(data), formats=FORMATS)
    except Image.DecompressionBombError as error:
        raise _too_large(name, "the picture") from error
    except (UnidentifiedImageError, OSError, ValueError, SyntaxError) as error:
        if data.startswith(_SIGNATURES) or data[4:8] == b"ftyp":
            raise _broken(name) from error
        raise PhotoError(
            "unreadable", f"{name}: not a picture that can be read; save it as JPEG, PNG, WebP or HEIC."
        ) from error


def _decode(data: bytes, header: Image.Image, name: str) -> Pixels:
    """Decode as stored, (H, W, 3) BGR, not yet turned."""
    try:
        # CMYK JPEGs come in two polarities; Pillow knows Adobe's mark.
        if header.format in ("JPEG", "MPO") and header.mode != "CMYK":
            return _decode_jpeg(data, name)
        header.load()
        return _to_bgr(header)
    except (OSError, SyntaxError, ValueError, EOFError, RuntimeError, struct.error, cv2.error) as error:
        raise _broken(name) from error


def _decode_jpeg(data: bytes, name: str) -> Pixels:
    if not _is_whole_jpeg(data):
        raise _broken(name)
    flags = cv2.IMREAD_COLOR | cv2.IMREAD_IGNORE_ORIENTATION
    bgr = cv2.imdecode(np.frombuffer(data, np.uint8), flags)
    if bgr is None:
        raise _broken(name)
    return np.asarray(bgr, np.uint8)


def _is_whole_jpeg(data: bytes) -> bool:
    """Whether the first image reaches its end marker; decoders fill what is missing with grey, silently.

    Segments are skipped by their length, so that the end of an EXIF thumbnail isn't taken for the picture's;
    inside the scan, stuffing keeps FF D9 from occurring by chance.
    """
    at = 2
    while at + 4 <= len(data):
        marker, length = data[at + 1], int.from_bytes(data[at + 2 : at + 4], "big")
        if data[at] != 0xFF:
            return False
        if marker == 0xDA:
            return data.find(b"\xff\xd9", at) >= 0
        at += 1 if marker == 0xFF else 2 + length
    return False


def _to_bgr(image: Image.Image) -> Pixels:
    """Convert any Pillow mode to BGR: sixteen bits by their upper eight, transparent parts on white."""
    if image.mode.startswith("I"):
        shade = (np.asarray(image).astype(np.int64) >> 8).clip(0, 255).astype(np.uint8)
        return np.asarray(cv2.cvtColor(shade, cv2.COLOR_GRAY2BGR), np.uint8)
    if image.has_transparency_data:
        layer = image.convert("RGBA")
        image = Image.alpha_composite(Image.new("RGBA", layer.size, "white"), layer)
    return np.asarray(cv2.cvtColor(np.asarray(image.convert("RGB")), cv2.COLOR_RGB2BGR), np.uint8)


def _read_tags(image: Image.Image) -> _Tags:
    """Read EXIF; a block that can't be read counts as none, since the picture itself may be sound."""
    try:
        exif = image.getexif()
        lens = dict(exif.get_ifd(ExifTags.IFD.Exif))
    except _UNREADABLE_TAGS:
        return _Tags()
    camera = {ExifTags.Base.Make, ExifTags.Base.Model, ExifTags.Base.ExposureTime, ExifTags.Base.FocalLength}
    from_camera = any(tag in exif or tag in lens for tag in camera)
    turn = exif.get(ExifTags.Base.Orientation, 1)
    f35_mm = _number(lens.get(ExifTags.Base.FocalLengthIn35mmFilm))
    believed = _is_plausible_lens(f35_mm, lens) and _is_uncropped(image.size, lens)
    return _Tags(turn if isinstance(turn, int) else 1, f35_mm if believed else None, from_camera)


def _number(value: object) -> float:
    """Read an EXIF number; 0 for one that is absent, infinite or no number."""
    try:
        number = float(value)  # type: ignore[arg-type]
    except _UNREADABLE_TAGS:
        return 0.0
    return number if np.isfinite(number) else 0.0


def _is_plausible_lens(f35_mm: float, lens: dict[int, object]) -> bool:
    if not F35_MM[0] <= f35_mm <= F35_MM[1]:
        return False
    focal_mm = _number(lens.get(ExifTags.Base.FocalLength))
    zoom = max(_number(lens.get(ExifTags.Base.DigitalZoomRatio)), 1.0)
    return focal_mm <= 0.0 or CROP_FACTOR[0] <= f35_mm / focal_mm / zoom <= CROP_FACTOR[1]


def _is_uncropped(size: tuple[int, int], lens: dict[int, object]) -> bool:
    shot = _number(lens.get(ExifTags.Base.ExifImageWidth)), _number(lens.get(ExifTags.Base.ExifImageHeight))
    if min(shot) <= 0.0:
        return True
    aspect, aspect_shot = max(size) / min(size), max(shot) / min(shot)
    return abs(aspect / aspect_shot - 1.0) <= ASPECT_TOLERANCE
