"""What part of a picture the camera saw: a screenshot has bars beside it, a copy that was cut has an odd shape."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

Pixels = npt.NDArray[np.uint8]

# The shape that phones' cameras give, and how near it a copy comes whose sides are rounded to whole pixels, and one
# whose bars' edges are blurred. Of 262 rendered copies that were cropped one comes so near by chance.
PLAIN_ASPECT, ROUNDED, BLURRED = 4 / 3, 0.002, 0.012
# A bar's rows are nearly all of one level but for what compression makes of it; only so wide it is one, pixels and
# share of the side.
BAR_LEVELS, NEARLY_ALL, LEAST_BAR_PX, LEAST_BAR = 6, 0.995, 8, 0.01
# Every so many of a row tell of it.
EVERY = 4


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
    height, width = grey.shape
    top, bottom = _bars(grey)
    left, right = _bars(grey.T)
    framed = Frame(left, top, width - left - right, height - top - bottom)
    whole = framed.width == width and framed.height == height
    return framed if framed.is_plain(ROUNDED if whole else BLURRED) else None


def _bars(grey: Pixels) -> tuple[int, int]:
    """Return how many rows at either end of a picture (H, W) are of one level, the same at both; 0 for no bars."""
    level = int(np.median(grey[0]))
    thin = grey[:, ::EVERY].astype(np.int16)
    bare = (np.abs(thin - level) < BAR_LEVELS).mean(axis=1) > NEARLY_ALL
    filled = np.flatnonzero(~bare)
    if not len(filled):
        return 0, 0
    first, last = int(filled[0]), len(grey) - 1 - int(filled[-1])
    least = max(LEAST_BAR_PX, LEAST_BAR * len(grey))
    return (first, last) if min(first, last) >= least else (0, 0)
