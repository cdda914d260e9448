"""What part of a picture the camera saw: a screenshot has bars beside it, a copy that was cut has an odd shape."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Pixels = npt.NDArray[np.uint8]

# The shape that phones' cameras give, and how near it a copy comes whose sides are rounded to whole pixels, and one
# whose bars' edges are blurred. Of 262 rendered copies that were cropped one comes so near by chance.
PLAIN_ASPECT, ROUNDED, BLURRED = 4 / 3, 0.002, 0.012
# What compression makes of a bar's one level; a screenshot's are so wide at least, pixels, and a third of a side at
# most; every so many pixels of a row tell.
BAR_LEVELS, LEAST_BAR_PX, MOST_BAR, EVERY = 2.0, 8, 1 / 3, 4


@dataclass(frozen=True)
class Frame:
    """A part of a picture, pixels.

    Attributes
    ----------
    left, top, width, height : int
    """

    left: int
    top: int
    width: int
    height: int

    @property
    def middle_px(self) -> npt.NDArray[np.float64]:
        """Its middle, ``(x, y)``, pixel centres at whole numbers."""
        return np.array([self.left + (self.width - 1) / 2, self.top + (self.height - 1) / 2])

    def is_plain(self, tolerance: float) -> bool:
        """Whether it has the shape that phones' cameras give."""
        aspect = max(self.width, self.height) / min(self.width, self.height)
        return abs(aspect / PLAIN_ASPECT - 1) < tolerance


def whole_of(grey: Pixels) -> Frame:
    """Return all of a picture (H, W)."""
    return Frame(0, 0, grey.shape[1], grey.shape[0])


def frame_of(grey: Pixels) -> Frame | None:
    """Find what of a picture (H, W) a phone's camera saw; None where it may have been cropped."""
    whole = whole_of(grey)
    top, bottom = _pair(bars(grey))
    left, right = _pair(bars(grey.T))
    if bool(top) == bool(left):  # no bars, or a ground of one shade all round
        return whole if whole.is_plain(ROUNDED) else None
    framed = Frame(left, top, whole.width - left - right, whole.height - top - bottom)
    return framed if framed.is_plain(BLURRED) else None


def bars(grey: Pixels) -> tuple[int, int]:
    """Return how many rows at the top and at the bottom of a picture (H, W) are of one shade each."""
    return _bar(grey), _bar(grey[::-1])


def _bar(grey: Pixels) -> int:
    most = int(len(grey) * MOST_BAR)
    plain = grey[:most, ::EVERY].std(axis=1) < BAR_LEVELS
    return most if plain.all() else int(plain.argmin())


def _pair(found: tuple[int, int]) -> tuple[int, int]:
    """Return bars at both ends, or none."""
    return found if min(found) >= LEAST_BAR_PX else (0, 0)
