"""Single grooves wherever they stand: straight stretches across the ring, darker or brighter than both their sides.

`grooves` asks for lines that repeat round the ring. Slots also come in groups, long ones and short ones in turn, and
are hidden in parts; what is left of them then is that several stretches are long, straight, of one width and lean
alike.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from vision.measurement import FloatArray
from vision.ring import Map, Mask

COLUMNS = 960
LEANS_DEG = np.arange(-64.0, 65.0, 8.0)
# A stretch spans this share of the ring's rows, and is compared with what lies so many columns beside it.
LENGTH_SHARE, BESIDE = 0.4, 6
MOST_HIDDEN = 0.4
# Where a stretch lies along the radius is told to so many rows.
ROW_STEP = 3
# No two nearer than this, in rows' share and in columns.
APART_SHARE, APART = 0.5, 17
MOST = 12
ALIKE_DEG = 17.0
# Spokes of a wheel, a caliper's ends and their shadows stand radially; slots lean.
RADIAL_DEG = 3.0


@dataclass(frozen=True, eq=False)
class Strokes:
    """The stretches that stand out most, strongest first.

    Attributes
    ----------
    strength : (N,) ndarray
        Mean relief along each, less that beside it, in units of the noise.
    lean_deg : (N,) ndarray
        Angle from the radius; positive as in `grooves.Grooves`.
    """

    strength: FloatArray
    lean_deg: FloatArray

    @classmethod
    def none(cls) -> "Strokes":
        """No stretches."""
        return cls(np.zeros(0), np.zeros(0))

    def nth(self, number: int) -> float:
        """Return the strength that so many reach; 0 where there are fewer."""
        return float(self.strength[number - 1]) if len(self.strength) >= number else 0.0

    @property
    def agreement(self) -> float:
        """Share of their strength, squared, that leans within ``ALIKE_DEG`` of one lean."""
        weight = self.strength**2
        alike = np.abs(self.lean_deg[:, None] - self.lean_deg[None, :]) <= ALIKE_DEG
        return float((alike @ weight).max() / weight.sum()) if len(weight) else 0.0


def find_strokes(relief: Map, seen: Mask) -> Strokes:
    """Find the stretches, each on its own.

    Parameters
    ----------
    relief : (R, C) ndarray
        Of the ring, clipped, 0 where it is not seen.
    seen : (R, C) ndarray of bool
        Less the round marks.
    """
    rows = max(8, round(len(relief) * COLUMNS / relief.shape[1]))
    # Rows run inward: what leans to larger angles at the rim goes back from row to row.
    slopes = -np.tan(np.radians(LEANS_DEG))
    pad = int(slopes.max() * rows) + 2 * BESIDE
    both = np.dstack([_shrunk(image, rows, pad) for image in (relief, seen.astype(np.float32))])
    length = max(5, round(LENGTH_SHARE * rows))
    contrasts = np.stack([_contrast(both, float(slope), length)[:, pad:-pad] for slope in slopes])
    which, best = contrasts.argmax(axis=0), contrasts.max(axis=0)
    lean_deg = LEANS_DEG[which]
    apart = np.ones((2 * round(APART_SHARE * len(best) / 2) + 1, APART), np.uint8)
    row, column = np.nonzero((best >= cv2.dilate(best, apart)) & (best > 0) & (np.abs(lean_deg) > RADIAL_DEG))
    order = np.argsort(-best[row, column])[:MOST]
    row, column = row[order], column[order]
    return Strokes(best[row, column].astype(np.float64), np.asarray(lean_deg[row, column], np.float64))


def _shrunk(image: Map, rows: int, pad: int) -> Map:
    """Shrink to so many rows and ``COLUMNS``, and go on across the seam by ``pad`` columns."""
    small = cv2.resize(image, (COLUMNS, rows), interpolation=cv2.INTER_AREA)
    return np.asarray(np.concatenate([small[:, -pad:], small, small[:, :pad]], axis=1), np.float32)


def _contrast(both: Map, slope: float, length: int) -> Map:
    """Mean along stretches of one slope, less that on their sides; 0 where too much is hidden.

    ``both`` is the relief and how much is seen, (R, C, 2). The map is conformal: a constant lean is a constant shear.
    """
    rows, columns = both.shape[:2]
    shear = np.array([[1.0, -slope, slope * rows / 2], [0.0, 1.0, 0.0]])
    upright = cv2.warpAffine(both, shear, (columns, rows))
    summed = cv2.blur(upright, (3, length), borderType=cv2.BORDER_CONSTANT)[::ROW_STEP]
    total, known = np.ascontiguousarray(summed[..., 0]), np.ascontiguousarray(summed[..., 1])
    mean = np.where(known < 1 - MOST_HIDDEN, 0, total / np.maximum(known, 0.05))
    left, right = np.roll(mean, BESIDE, axis=1), np.roll(mean, -BESIDE, axis=1)
    # One edge alone, a shadow's or a lip's, differs from one side only.
    contrast = np.maximum(np.minimum(mean - left, mean - right), np.minimum(left - mean, right - mean))
    shown = np.minimum(known, np.minimum(np.roll(known, BESIDE, axis=1), np.roll(known, -BESIDE, axis=1)))
    contrast[shown < 1 - MOST_HIDDEN] = 0.0
    back = np.array([[1.0, ROW_STEP * slope, -slope * rows / 2], [0.0, 1.0, 0.0]])
    return np.asarray(cv2.warpAffine(contrast, back, (columns, len(contrast))), np.float32)
