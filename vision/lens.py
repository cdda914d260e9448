"""What lens a photo may have been taken with: as it says, or as phones have them."""

from typing import NamedTuple

from vision.camera import Camera, focal_px
from vision.frame import Frame, whole_of
from vision.photo import Photo

# Some makers state the equivalent for the diagonal, some for the width.
TOLD_LENS_STD = 0.04
# How far off the middle of what the camera saw its lens looks, shares of the photo's width; copies may have been cut to
# the camera's own shape.
SHIFT_STD, COPY_SHIFT_STD, CROPPED_SHIFT_STD = 0.01, 0.015, 0.08


class Lens(NamedTuple):
    """A lens that a photo may have: its 35 mm equivalent, how surely it has that, and how likely it is the one."""

    f35_mm: float
    std: float
    share: float


# Phones' main cameras, then their longer ones; a copy may have been cropped, which lengthens the lens.
LENSES = (Lens(26.0, 0.10, 0.85), Lens(50.0, 0.12, 0.15))
CROPPED_LENSES = (Lens(32.0, 0.18, 0.85), Lens(62.0, 0.2, 0.15))


def lenses(photo: Photo) -> tuple[Lens, ...]:
    """Return the lenses worth starting from."""
    if photo.f35_mm is not None:
        return (Lens(photo.f35_mm, TOLD_LENS_STD, 1.0),)
    return CROPPED_LENSES if maybe_cropped(photo) else LENSES


def maybe_cropped(photo: Photo) -> bool:
    """Whether the photo lost its camera's data or was cut, and its shape does not tell where its middle was."""
    return photo.is_copy and photo.frame is None


def usual_focal_px(photo: Photo, f35_mm: float) -> float:
    """Return a lens's focal length, pixels, of what the camera saw."""
    seen = _seen(photo)
    return focal_px(f35_mm, seen.width, seen.height)


def plain_camera(photo: Photo, f35_mm: float) -> Camera:
    """Return a camera without distortion that looks through the middle of what it saw."""
    return Camera(usual_focal_px(photo, f35_mm), *_seen(photo).middle_px)


def usual_shift(photo: Photo) -> tuple[float, float]:
    """Return how far off the photo's own middle that of what the camera saw is, shares of the photo's width."""
    x, y = (_seen(photo).middle_px - whole_of(photo.grey).middle_px) / photo.width
    return float(x), float(y)


def shift_std(photo: Photo) -> float:
    """Return how far off that middle the lens may look, a share of the photo's width."""
    if maybe_cropped(photo):
        return CROPPED_SHIFT_STD
    return COPY_SHIFT_STD if photo.is_copy else SHIFT_STD


def _seen(photo: Photo) -> Frame:
    return photo.frame or whole_of(photo.grey)
