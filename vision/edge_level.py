"""A photo turned so that the ring lies level, standing or lying as it may have been."""

from dataclasses import dataclass
from typing import TypeVar

import numpy as np
import numpy.typing as npt

from vision.measurement import FloatArray
from vision.ring import Mask, Pixels

Values = TypeVar("Values", bound=np.generic)


@dataclass(frozen=True, eq=False)
class Level:
    """A photo turned so that the ring may lie level.

    Attributes
    ----------
    grey, seen : (H, W) ndarray
        Brightness, and where to look.
    turned : bool
        Whether it was turned a quarter.
    """

    grey: Pixels
    seen: Mask
    turned: bool

    @classmethod
    def of(cls, grey: Pixels, seen: Mask, *, turned: bool) -> "Level":
        """Turn a picture."""
        return cls(quarter_turned(grey), quarter_turned(seen), True) if turned else cls(grey, seen, False)

    @property
    def size_px(self) -> tuple[int, int]:
        """Width and height."""
        return self.grey.shape[1], self.grey.shape[0]

    @property
    def from_photo(self) -> FloatArray:
        """The affine map (2, 3) from the photo's pixels to these."""
        if not self.turned:
            return np.array([[1.0, 0.0, 0.0], [0.0, 1.0, 0.0]])
        return np.array([[0.0, 1.0, 0.0], [-1.0, 0.0, self.grey.shape[0] - 1.0]])

    def to_photo(self, xy_px: FloatArray) -> FloatArray:
        """Carry pixels (N, 2) back to the photo as displayed."""
        if not self.turned:
            return xy_px
        return np.stack([self.grey.shape[0] - 1 - xy_px[:, 1], xy_px[:, 0]], axis=-1)


def quarter_turned(image: npt.NDArray[Values]) -> npt.NDArray[Values]:
    """Turn a picture so that a standing ring lies level."""
    return np.ascontiguousarray(np.rot90(image))
