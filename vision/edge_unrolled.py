"""The outer cylinder unrolled: heights down, equal steps of the picture across; and the level lines on it."""

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from vision.edge_lines import DARK
from vision.edge_pose import Along
from vision.measurement import FloatArray
from vision.ring import Map, Mask, Pixels

COLUMNS, PARTS = 192, 32
# How far toward the outline's ends the rim is looked at, as a share.
REACH = 0.93
# Rows are half a pixel of the nearest edge apart; a step is taken over so much, and counts up to a limit.
ROW_PX, LEAST_ROW_MM = 0.5, 0.06
STEP_PX, LEAST_STEP_MM = 1.0, 0.2
STEP_LIMIT = 0.7
SEEN_SHARE = 0.6
USUAL_PX_PER_MM = 8.0
# The least mean step of a line, alone and beside the clearest; the least step of a part of it.
LEAST_LINE, LEAST_SHARE, LEAST_PART = 0.02, 0.05, 0.04
SAME_MM = 0.12
# OpenCV's second map, where the first holds points whole: its type stubs ask for one.
WHOLE: Any = None
# Brightness as a logarithm.
LOG = np.log(np.arange(256, dtype=np.float32) + np.float32(DARK))


@dataclass(frozen=True, eq=False)
class LevelLine:
    """A level line across the rim.

    Attributes
    ----------
    row : int
    points_px : (N, 2) ndarray
        Where it is seen in each part of the rim, in the photo.
    heights_mm : (N,) ndarray
        The same as heights above the camera's plane.
    parts : (N,) ndarray of int
    step : float
        Mean size of the step of brightness over all parts in sight.
    in_sight : int
        How many parts are.
    """

    row: int
    points_px: FloatArray
    heights_mm: FloatArray
    parts: npt.NDArray[np.intp]
    step: float
    in_sight: int

    @cached_property
    def height_mm(self) -> float:
        """The middle of its heights."""
        return float(np.median(self.heights_mm))


@dataclass(frozen=True, eq=False)
class Unrolled:
    """The rim from above to below, as a camera at a known place sees it.

    Attributes
    ----------
    heights_mm : (H,) ndarray
        Falling, above the camera's plane.
    angles_rad : (W,) ndarray
        From the nearest generator.
    xy_px : (H, W, 2) ndarray
        Where each point lies in the photo.
    level : (H, W) ndarray
        Logarithm of brightness.
    seen : (H, W) ndarray of bool
    px_per_mm : float
        At the nearest point.
    """

    heights_mm: FloatArray
    angles_rad: FloatArray
    xy_px: Map
    level: Map
    seen: Mask
    px_per_mm: float

    @classmethod
    def of(cls, grey: Pixels, seen: Mask, along: Along, span_mm: tuple[float, float]) -> "Unrolled":
        """Unroll the rim between two heights (low, high)."""
        per_mm = float(along.camera.focal_px) / (along.away_mm - along.radius_mm)
        low, high = span_mm
        heights = np.arange(high, low, -max(LEAST_ROW_MM, ROW_PX / per_mm))
        angles = angles_across(along, COLUMNS)
        xy_px = along.unrolled(angles, heights)
        level = cv2.LUT(read_at(grey, xy_px), LOG)
        x, y = xy_px[..., 0], xy_px[..., 1]
        inside = (x > 1) & (y > 1) & (x < grey.shape[1] - 2) & (y < grey.shape[0] - 2)
        shown = cv2.remap(seen.view(np.uint8), xy_px, WHOLE, cv2.INTER_NEAREST) > 0
        return cls(heights, angles, xy_px, np.asarray(level, np.float32), np.asarray(inside & shown), per_mm)

    @property
    def row_mm(self) -> float:
        """Height of a row."""
        return float(self.heights_mm[0] - self.heights_mm[1])

    @cached_property
    def steps(self) -> FloatArray:
        """Mean step of brightness, upper less lower, of each row and part of the rim (H, PARTS); NaN out of sight."""
        reach = max(1, round(max(LEAST_STEP_MM, STEP_PX / self.px_per_mm) / self.row_mm))
        step, shown = np.zeros_like(self.level), np.zeros_like(self.seen)
        step[reach:-reach] = np.clip(self.level[: -2 * reach] - self.level[2 * reach :], -STEP_LIMIT, STEP_LIMIT)
        shown[reach:-reach] = self.seen[: -2 * reach] & self.seen[2 * reach :]
        size = (PARTS, len(step))
        share = cv2.resize(shown.astype(np.float32), size, interpolation=cv2.INTER_AREA)
        mean = cv2.resize(step * shown, size, interpolation=cv2.INTER_AREA) / np.maximum(share, 1 / COLUMNS)
        return np.where(share >= SEEN_SHARE, mean, np.nan).astype(np.float64)

    @cached_property
    def strength(self) -> FloatArray:
        """Mean size of the step over the parts in sight, (H,)."""
        size, shown = np.nan_to_num(np.abs(self.steps)), np.isfinite(self.steps).sum(axis=1)
        return np.asarray(np.where(shown >= PARTS // 4, size.sum(axis=1) / np.maximum(shown, 1), 0.0))

    @property
    def focus(self) -> float:
        """How much the steps gather in level lines: the integral, over the picture, of the square of their mean size.

        Taken in pixels, by a usual scale: a wrong scale must not change it.
        """
        return float((self.strength**2).sum() * self.row_mm * self.px_per_mm / USUAL_PX_PER_MM)

    def lines(self, reach_mm: float, near_mm: float, most: int) -> list[LevelLine]:
        """Find level lines, the clearest first; each part of the rim may show one ``reach_mm`` above or below.

        Parameters
        ----------
        reach_mm, near_mm : float
            Within ``near_mm`` a part is more likely the line's.
        most : int
            How many rows are looked at.
        """
        strength = self.strength + np.linspace(0, 1e-9, len(self.strength))
        apart = max(2, round(LEAST_STEP_MM / self.row_mm))
        top = cv2.dilate(strength[:, None], np.ones((2 * apart + 1, 1), np.uint8))[:, 0]
        least = max(LEAST_LINE, LEAST_SHARE * float(strength.max()))
        rows = np.nonzero((strength >= top) & (strength > least))[0]
        reach = max(2, round(reach_mm / self.row_mm))
        inner = sorted(
            (int(row) for row in rows if reach < row < len(strength) - reach - 1), key=lambda r: -strength[r]
        )
        found: list[LevelLine] = []
        for line in (self._line(row, reach, near_mm / self.row_mm) for row in inner[:most]):
            # A clear line draws its fainter neighbours' parts to itself.
            if len(line.parts) and all(abs(line.height_mm - other.height_mm) > SAME_MM for other in found):
                found.append(line)
        return found

    def _line(self, row: int, reach: int, near: float) -> LevelLine:
        size = np.abs(self.steps[row - reach : row + reach + 1])
        shown = np.isfinite(size).all(axis=0)
        size = np.where(shown, size, 0.0)
        part = np.arange(size.shape[1])
        # A part of a clear line nearby must not be taken for one of this.
        nearness = np.exp(-0.5 * (np.arange(-reach, reach + 1) / near) ** 2)
        peak = np.clip((size * nearness[:, None]).argmax(axis=0), 1, len(size) - 2)
        above, here, under = (size[peak + i, part] for i in (-1, 0, 1))
        good = shown & (here >= above) & (here >= under) & (here > LEAST_PART)
        bend = np.where(above - 2 * here + under < 0, above - 2 * here + under, -1.0)
        at = row - reach + peak + np.clip(0.5 * (above - under) / bend, -1, 1)
        heights = self.heights_mm[0] - self.row_mm * at
        points = self._points(at)
        return LevelLine(row, points[good], heights[good], part[good], float(self.strength[row]), int(shown.sum()))

    def _points(self, row: FloatArray) -> FloatArray:
        """Return the photo's pixels (N, 2) of rows in the middle of parts."""
        low, share = np.floor(row).astype(int), (row - np.floor(row))[:, None]
        number = np.arange(len(row))
        placed: FloatArray = (1 - share) * self._middles[low, number] + share * self._middles[low + 1, number]
        return placed

    @cached_property
    def _middles(self) -> FloatArray:
        """Pixels (H, PARTS, 2) of the parts' middles; a part has an even number of columns."""
        width = COLUMNS // PARTS
        pairs = self.xy_px.astype(np.float64)
        return np.asarray((pairs[:, width // 2 - 1 :: width] + pairs[:, width // 2 :: width]) / 2)


def read_at(image: Pixels, xy_px: Map) -> Pixels:
    """Read an image (H, W) or (H, W, 3) at points (..., 2); beyond the border the border's value goes on."""
    read = cv2.remap(image, xy_px, WHOLE, cv2.INTER_LINEAR, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(read, np.uint8)


def angles_across(along: Along, count: int) -> FloatArray:
    """Angles on the cylinder of so many columns that lie evenly across the picture."""
    ray = np.linspace(-REACH, REACH, count) * np.tan(np.arcsin(along.radius_mm / along.away_mm))
    square = 1 + ray**2
    root = np.sqrt(np.maximum(along.away_mm**2 - square * (along.away_mm**2 - along.radius_mm**2), 0.0))
    depth = (along.away_mm - root) / square
    return np.asarray(np.arctan2(depth * ray, along.away_mm - depth))
