"""Slots wherever they stand: patches of cells that lie in slots, how long each is and how it leans.

`grooves` asks for lines that repeat round the ring. Slots also come in groups, long ones and short ones in turn, and
are hidden in parts; what is left of them then is that several stretches are long, and lean alike.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from vision.measurement import FloatArray
from vision.ring import Map

LEAST_SURE, LEAST_LENGTH = 0.5, 0.1
ALIKE_DEG = 17.0


@dataclass(frozen=True, eq=False)
class Strokes:
    """The stretches, longest first.

    Attributes
    ----------
    length : (N,) ndarray
        How much of the ring's width each crosses.
    lean_deg : (N,) ndarray
        Angle from the radius; positive as in `grooves.Grooves`.
    """

    length: FloatArray
    lean_deg: FloatArray

    def nth(self, number: int) -> float:
        """Return the length that so many reach; 0 where there are fewer."""
        return float(self.length[number - 1]) if len(self.length) >= number else 0.0

    @property
    def lean(self) -> float:
        """How they lean on the whole, to either side: spokes, calipers' ends and their shadows stand radially."""
        weight = self.length**2
        return float(np.abs(self.lean_deg) @ weight / weight.sum()) if len(weight) else 0.0

    @property
    def agreement(self) -> float:
        """Share of their length, squared, that leans within ``ALIKE_DEG`` of one lean."""
        weight = self.length**2
        alike = np.abs(self.lean_deg[:, None] - self.lean_deg[None, :]) <= ALIKE_DEG
        return float((alike @ weight).max() / weight.sum()) if len(weight) else 0.0


def find_strokes(slot: Map) -> Strokes:
    """Find the stretches.

    Parameters
    ----------
    slot : (R, C) ndarray
        Probabilities that cells lie in a slot, as in `cuts.Cuts`.
    """
    sure = np.asarray(slot > LEAST_SURE).astype(np.uint8)
    count, patch, boxes, _ = cv2.connectedComponentsWithStats(sure, connectivity=8)
    length = np.asarray(boxes)[1:, cv2.CC_STAT_HEIGHT] / len(slot)
    row, column = np.nonzero(patch)
    own = np.asarray(patch)[row, column] - 1
    cells, down, along, down_down, down_along = (
        np.bincount(own, values, count - 1) for values in (0 * row + 1, row, column, row * row, row * column)
    )
    spread = np.maximum(down_down - down**2 / cells, 1e-9)
    # Rows run inward: what leans to larger angles at the rim goes back from row to row.
    lean_deg = np.degrees(np.arctan2(-(down_along - down * along / cells), spread))
    order = np.argsort(-length)[: int((length > LEAST_LENGTH).sum())]
    return Strokes(length[order], lean_deg[order])
