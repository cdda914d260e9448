"""How a photo reaches the counter: the phone's own file, or a messenger's copy; points move along exactly."""

import io
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray
from PIL import Image

from sample_images_synthetic.studio.develop import Photo

FloatArray = NDArray[np.float64]

ORIENTATION, FOCAL_IN_35MM, EXIF_IFD, DATE_TIME, FOCAL = 0x0112, 0xA405, 0x8769, 0x0132, 0x920A

STORED: dict[int, tuple[Image.Transpose, ...]] = {
    1: (),
    2: (Image.Transpose.FLIP_LEFT_RIGHT,),
    3: (Image.Transpose.ROTATE_180,),
    4: (Image.Transpose.FLIP_TOP_BOTTOM,),
    5: (Image.Transpose.TRANSPOSE,),
    6: (Image.Transpose.ROTATE_90,),
    7: (Image.Transpose.TRANSVERSE,),
    8: (Image.Transpose.ROTATE_270,),
}
"""What turns the displayed picture into the stored one, by EXIF orientation."""


@dataclass(frozen=True)
class Delivery:
    """What happens to the file on its way.

    Attributes
    ----------
    quality : int
        JPEG quality of the last writing.
    orientation : int
        EXIF orientation, 1 to 8.
    exif_f35 : int or None
        Focal length as EXIF tells it; None: not told.
    exif : bool
        Whether EXIF is there at all.
    crop : (left, top, width, height) or None
        Cut out first, pixels.
    scale : float
        Then resized by this; the size is rounded to whole pixels.
    border_px : (left, top, right, bottom)
        Then framed, as a screenshot is.
    border_grey : int
        The frame's tone.
    recompressed : tuple of int
        JPEG qualities of earlier writings.
    """

    quality: int
    orientation: int = 1
    exif_f35: int | None = None
    exif: bool = True
    crop: tuple[int, int, int, int] | None = None
    scale: float = 1.0
    border_px: tuple[int, int, int, int] = (0, 0, 0, 0)
    border_grey: int = 0
    recompressed: tuple[int, ...] = ()

    def mapping(self, width: int, height: int) -> tuple[FloatArray, FloatArray]:
        """Scale and offset, each (2,), that take the photo's points to the delivered picture's."""
        left, top, w, h = self.crop or (0, 0, width, height)
        scale = np.array([round(w * self.scale) / w, round(h * self.scale) / h])
        return scale, -(np.array([left, top]) - 0.5) * scale - 0.5 + np.array(self.border_px[:2])

    def moved(self, points_px: ArrayLike, width: int, height: int) -> FloatArray:
        """Points of the photo, in the delivered picture."""
        scale, offset = self.mapping(width, height)
        return np.asarray(points_px, np.float64).reshape(-1, 2) * scale + offset

    def size(self, width: int, height: int) -> tuple[int, int]:
        """Width and height of the delivered picture as displayed."""
        _, _, w, h = self.crop or (0, 0, width, height)
        left, top, right, bottom = self.border_px
        return round(w * self.scale) + left + right, round(h * self.scale) + top + bottom


def delivered(photo: Photo, how: Delivery) -> bytes:
    """Write the JPEG file: its bytes."""
    picture = Image.fromarray(photo)
    for quality in how.recompressed:
        picture = _rewritten(picture, quality)
    picture = _cut(picture, how)
    for operation in STORED[how.orientation]:
        picture = picture.transpose(operation)
    out = io.BytesIO()
    picture.save(out, "JPEG", quality=how.quality, subsampling=2, **({"exif": _exif(how)} if how.exif else {}))
    return out.getvalue()


def _rewritten(picture: Image.Image, quality: int) -> Image.Image:
    buffer = io.BytesIO()
    picture.save(buffer, "JPEG", quality=quality, subsampling=2)
    return Image.open(io.BytesIO(buffer.getvalue())).convert("RGB")


def _cut(picture: Image.Image, how: Delivery) -> Image.Image:
    """Crop, resize, frame."""
    if how.crop:
        left, top, width, height = how.crop
        picture = picture.crop((left, top, left + width, top + height))
    if how.scale != 1.0:
        size = round(picture.width * how.scale), round(picture.height * how.scale)
        picture = picture.resize(size, Image.Resampling.LANCZOS)
    left, top, right, bottom = how.border_px
    if any(how.border_px):
        size = picture.width + left + right, picture.height + top + bottom
        framed = Image.new("RGB", size, (how.border_grey,) * 3)
        framed.paste(picture, (left, top))
        return framed
    return picture


def _exif(how: Delivery) -> Image.Exif:
    exif = Image.Exif()
    exif[ORIENTATION] = how.orientation
    exif[DATE_TIME] = "2025:06:14 10:30:00"
    if how.exif_f35 is not None:
        exif.get_ifd(EXIF_IFD)[FOCAL_IN_35MM] = how.exif_f35
    return exif
