"""A photo made fit to be kept: the picture stays, where and when it was taken goes."""

import io
from pathlib import PurePath

from PIL import ExifTags, Image

from service.cases import StoredPhoto
from service.measuring import read

_KEPT = (ExifTags.Base.Orientation,)
_KEPT_IN_EXIF = (ExifTags.Base.FocalLength, ExifTags.Base.FocalLengthIn35mmFilm)
_KEPT_BESIDE = ("icc_profile", "adobe", "adobe_transform")
_QUALITY = 95


def without_location(content: bytes, name: str) -> StoredPhoto:
    """Return the photo as a JPEG with its orientation and focal length and no other metadata.

    Parameters
    ----------
    content : bytes
        A photo as uploaded.
    name : str
        The file's name; folders in it are dropped.

    Raises
    ------
    PhotoFault
        For what can't be read or decoded.
    """
    read(content, name)  # checks it whole, its size before its pixels, and makes Pillow know HEIC
    out = io.BytesIO()
    with Image.open(io.BytesIO(content)) as image:
        exif = _lean(image.getexif())
        image.info = {key: value for key, value in image.info.items() if key in _KEPT_BESIDE}  # comments, XMP: gone
        if image.format == "JPEG":
            image.save(out, "JPEG", quality="keep", exif=exif)
        else:
            image.convert("RGB").save(out, "JPEG", quality=_QUALITY, exif=exif)
    return StoredPhoto(PurePath(name).name[-200:] or "photo", "image/jpeg", out.getvalue())


def _lean(exif: Image.Exif) -> Image.Exif:
    # A list of what stays, not of what goes: makers put places into tags of their own.
    lean = Image.Exif()
    lean.update({tag: exif[tag] for tag in _KEPT if tag in exif})
    inner = exif.get_ifd(ExifTags.IFD.Exif)
    lean.get_ifd(ExifTags.IFD.Exif).update({tag: inner[tag] for tag in _KEPT_IN_EXIF if tag in inner})
    return lean
