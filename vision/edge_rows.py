"""What every height of an unrolled rim shows: brightness, colour, how busy it is, whether the outline ends there."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np

from vision.edge_level import Level
from vision.edge_lines import DARK
from vision.edge_pose import Along
from vision.edge_unrolled import Unrolled, read_at
from vision.measurement import FloatArray
from vision.ring import Map, Mask, Pixels

# Beside the outline's ends: how far they are looked for, as a share of the width; the step of brightness, as a
# logarithm, beyond which it counts no more; over what heights rows are taken together, mm.
BESIDE, LEAST_BESIDE_PX, MOST_STEP, TOGETHER_MM = 0.004, 3, 0.4, 0.8


@dataclass(frozen=True, eq=False)
class Row:
    """One quantity at every height, from above to below.

    Attributes
    ----------
    heights_mm : (H,) ndarray
        Falling, evenly.
    values : (H,) ndarray
        NaN where it can't be told.
    """

    heights_mm: FloatArray
    values: FloatArray

    @cached_property
    def _sums(self) -> tuple[FloatArray, FloatArray]:
        known = np.isfinite(self.values)
        return (
            np.concatenate([[0.0], np.cumsum(np.where(known, self.values, 0.0))]),
            np.concatenate([[0.0], np.cumsum(known)]),
        )

    def mean(self, low_mm: FloatArray, high_mm: FloatArray) -> FloatArray:
        """Mean between heights (N,); NaN where nothing is known."""
        step = self.heights_mm[0] - self.heights_mm[1]
        first, last = (np.rint((self.heights_mm[0] - height) / step) for height in (high_mm, low_mm))
        most = len(self.values)
        start, stop = np.clip(first, 0, most - 1).astype(int), np.clip(last + 1, 1, most).astype(int)
        stop = np.maximum(stop, start + 1)
        total, count = (part[stop] - part[start] for part in self._sums)
        return np.asarray(np.where(count > 0, total / np.maximum(count, 1), np.nan), np.float64)


@dataclass(frozen=True, eq=False)
class Rows:
    """The rows of an unrolled rim.

    Attributes
    ----------
    level, red, green : Row
        Mean logarithm of brightness, of red over blue, of green over both.
    busy : Row
        Mean change of the logarithm of brightness from column to column.
    ends : sequence of Row
        How clearly the outline ends there, to the left and right.
    """

    level: Row
    red: Row
    green: Row
    busy: Row
    ends: Sequence[Row]

    @classmethod
    def of(cls, unrolled: Unrolled, bgr: Pixels, level: Level, along: Along) -> "Rows":
        """Read the rows; ``bgr`` (H, W, 3) is turned as ``level``."""
        heights = unrolled.heights_mm
        log = np.log(read_at(bgr, unrolled.xy_px).astype(np.float32) + DARK)
        pair = unrolled.seen[:, 1:] & unrolled.seen[:, :-1]
        change = np.abs(np.diff(unrolled.level, axis=1))
        blue, green, red = (_mean(log[..., channel], unrolled.seen) for channel in range(3))
        return cls(
            Row(heights, _mean(unrolled.level, unrolled.seen)),
            Row(heights, red - blue),
            Row(heights, green - (red + blue) / 2),
            Row(heights, _mean(change, pair)),
            [Row(heights, _ends(level, along, heights, side)) for side in (-1, 1)],
        )


def _mean(values: Map, seen: Mask) -> FloatArray:
    """Mean of each row where it is seen; NaN where nothing is."""
    count = seen.sum(axis=1)
    total = (values * seen).sum(axis=1)
    return np.asarray(np.where(count > 0, total / np.maximum(count, 1), np.nan), np.float64)


def _ends(level: Level, along: Along, heights_mm: FloatArray, side: int) -> FloatArray:
    """Return the step of brightness across the outline's end at every height; NaN out of sight."""
    width, height = level.size_px
    reach = max(LEAST_BESIDE_PX, round(BESIDE * width)) + 2
    beside = np.arange(-reach, reach + 1, dtype=np.float64)
    angle = np.full(len(heights_mm), side * along.last_angle_rad * 0.9999)
    feet = along.pixels(along.points(angle, heights_mm, along.radius_mm))
    across = np.array([np.cos(along.roll_rad), np.sin(along.roll_rad)])
    xy_px = (feet[:, None] + beside[None, :, None] * across).astype(np.float32)
    inside = ((xy_px > 2) & (xy_px < np.array([width - 3, height - 3]))).all(axis=(1, 2))
    shown = cv2.remap(level.seen.view(np.uint8), xy_px[..., 0], xy_px[..., 1], cv2.INTER_NEAREST).min(axis=1) > 0
    log = np.log(read_at(level.grey, xy_px).astype(np.float32) + DARK)
    rows = max(1, round(TOGETHER_MM / float(heights_mm[0] - heights_mm[1])))
    step = cv2.blur(log[:, 4:] - log[:, :-4], (1, rows), borderType=cv2.BORDER_REPLICATE)
    return np.asarray(np.where(inside & shown, np.minimum(np.abs(step).max(axis=1), MOST_STEP), np.nan), np.float64)
