"""Long lines across a photo: what the edge of a rotor, seen along its plane, is made of."""

from dataclasses import dataclass

import cv2
import numpy as np

from vision.measurement import FloatArray
from vision.ring import Map, Mask, Pixels

# Sides of the pictures in which lines are looked for, and followed.
SEARCH_PX, FOLLOW_PX = 160, 640
# A line runs as ``y = row + slope x - sag x**2``, in shares of the picture's half width and width.
SLOPES = np.arange(-0.18, 0.181, 0.02)
SAGS = np.arange(-0.04, 0.1001, 0.01)
SEARCHED = 0.85
# A step of brightness, as a logarithm, beyond which it counts no more; the least that is followed.
STEP_LIMIT, LEAST_STEP = 0.5, 0.04
# Lines of one rotor may differ so much from the clearest, in slope and sag; and be so much fainter.
KIN_SLOPE, KIN_SAG, KIN_STRENGTH = 0.061, 0.041, 0.12
MOST_LINES = 10
REACHES_PX = (6, 3)
DARK = 8.0


@dataclass(frozen=True, eq=False)
class Picture:
    """A reduced photo: logarithm of brightness, its step from row to row, and what may be looked at."""

    level: Map
    step: Map
    seen: Mask
    shrink: float

    @classmethod
    def of(cls, grey: Pixels, seen: Mask, side_px: int) -> "Picture":
        """Reduce a photo to ``side_px`` on its longer side."""
        shrink = max(1.0, max(grey.shape) / side_px)
        # In one step, not by halves: what is nearly black would be rounded at each.
        size = (max(1, round(grey.shape[1] / shrink)), max(1, round(grey.shape[0] / shrink)))
        small = cv2.resize(grey, size, interpolation=cv2.INTER_AREA).astype(np.float32)
        level = cv2.GaussianBlur(np.log(small + DARK), (0, 0), 0.8)
        shown = cv2.resize(seen.view(np.uint8), size, interpolation=cv2.INTER_NEAREST)
        shown = cv2.erode(shown, np.ones((3, 3), np.uint8))
        step = np.zeros_like(level)
        step[1:-1] = np.clip(level[2:] - level[:-2], -STEP_LIMIT, STEP_LIMIT)
        return cls(np.asarray(level), np.where(shown > 0, step, 0).astype(np.float32), np.asarray(shown > 0), shrink)

    @property
    def across(self) -> FloatArray:
        """Columns as shares of the half width, -1 to 1."""
        width = self.step.shape[1]
        return np.asarray((np.arange(width) - (width - 1) / 2) / (width / 2), np.float64)

    def to_photo(self, xy: FloatArray) -> FloatArray:
        """Carry points of this picture to the photo's pixels."""
        return (xy + 0.5) * self.shrink - 0.5

    def from_photo(self, xy_px: FloatArray) -> FloatArray:
        """Carry the photo's pixels to this picture's."""
        return (xy_px + 0.5) / self.shrink - 0.5


@dataclass(frozen=True)
class Line:
    """A line across the picture: where it starts from in the middle column, as shares, and its mean step."""

    row: float
    slope: float
    sag: float
    strength: float

    def rows(self, picture: Picture) -> FloatArray:
        """Row in every column of a picture."""
        height, width = picture.step.shape
        across = picture.across
        rows = self.row * height - 0.5 + width * (self.slope / 2 * across - self.sag * across**2)
        return np.asarray(rows, np.float64)


def long_lines(picture: Picture) -> list[Line]:
    """Find the clearest long line and those that run along it.

    Parameters
    ----------
    picture : Picture
        Of the size ``SEARCH_PX``.

    Returns
    -------
    list of Line
        The clearest first; empty for a picture without steps.
    """
    steps = _mean_steps(picture)
    size = np.abs(steps)
    if not size.max() > 0:
        return []
    slope, sag, _ = np.unravel_index(int(size.argmax()), size.shape)
    near_slope = np.abs(SLOPES - SLOPES[slope]) < KIN_SLOPE
    near_sag = np.abs(SAGS - SAGS[sag]) < KIN_SAG
    kin = size[near_slope][:, near_sag].max(axis=(0, 1))
    top = kin >= cv2.dilate(kin[:, None], np.ones((3, 1), np.uint8))[:, 0]
    rows = [int(row) for row in np.argsort(-kin) if top[row] and kin[row] > KIN_STRENGTH * kin.max()]
    masked = np.where(near_slope[:, None, None] & near_sag[None, :, None], size, 0.0)
    return [_line_at(row, masked, steps) for row in rows[:MOST_LINES]]


def _line_at(row: int, size: FloatArray, steps: FloatArray) -> Line:
    slope, sag = np.unravel_index(int(size[:, :, row].argmax()), size.shape[:2])
    height = steps.shape[2]
    strength = float(steps[slope, sag, row])
    return Line((row + 0.5) / height, float(SLOPES[slope]), float(SAGS[sag]), strength)


def _mean_steps(picture: Picture) -> FloatArray:
    """Mean step along every line of the search, (slopes, sags, rows)."""
    height, width = picture.step.shape
    columns = np.nonzero(np.abs(picture.across) < SEARCHED)[0]
    across = picture.across[columns]
    where = np.broadcast_to(columns.astype(np.float32), (height, len(columns)))
    rows = np.arange(height, dtype=np.float32)[:, None]
    found = np.zeros((len(SLOPES), len(SAGS), height))
    for i, slope in enumerate(SLOPES):
        for j, sag in enumerate(SAGS):
            bend = width * (slope / 2 * across - sag * across**2)
            moved = cv2.remap(picture.step, where, rows + bend.astype(np.float32), cv2.INTER_LINEAR)
            found[i, j] = cv2.reduce(moved, 1, cv2.REDUCE_AVG)[:, 0]
    return found


def follow(picture: Picture, rows: FloatArray, sign: float, reach: int) -> FloatArray:
    """Find the strongest step of one sense near a curve, in every column.

    Parameters
    ----------
    picture : Picture
    rows : (W,) ndarray
        The curve's row in every column.
    sign : float
        +1 where it grows brighter downward.
    reach : int
        How many rows to either side.

    Returns
    -------
    (N, 2) ndarray
        Points ``(x, y)`` of the picture, to a fraction of a pixel.
    """
    columns = np.arange(len(rows))
    offsets = np.arange(-reach, reach + 1)
    at = rows[:, None] + offsets[None, :]
    where = np.broadcast_to(columns[:, None], at.shape).astype(np.float32)
    step = sign * cv2.remap(picture.step, where, at.astype(np.float32), cv2.INTER_LINEAR)
    peak = step.argmax(axis=1)
    good = (peak > 0) & (peak < len(offsets) - 1) & (step.max(axis=1) > LEAST_STEP)
    peak = np.clip(peak, 1, len(offsets) - 2)
    left, mid, right = (step[columns, peak + i] for i in (-1, 0, 1))
    bend = np.minimum(left - 2 * mid + right, -1e-6)
    found = at[columns, peak] + np.clip(0.5 * (left - right) / bend, -1, 1)
    return np.asarray(np.stack([columns, found], axis=-1)[good], np.float64)


def followed(picture: Picture, line: Line) -> FloatArray:
    """Follow a line from where it was found roughly, as a parabola: points (N, 2) of the picture."""
    rows, sign = line.rows(picture), float(np.sign(line.strength))
    points = np.zeros((0, 2))
    for reach in REACHES_PX:
        points = follow(picture, rows, sign, reach)
        if len(points) < 20:
            return np.zeros((0, 2))
        rows = _parabola(points, rows, picture.across)
    gap = np.abs(points[:, 1] - rows[points[:, 0].astype(int)])
    return np.asarray(points[gap < 1.5], np.float64)


def _parabola(points: FloatArray, rows: FloatArray, across: FloatArray) -> FloatArray:
    """Fit a parabola's change of a curve to points, robustly."""
    column = points[:, 0].astype(int)
    design = np.vander(across[column], 3)
    gap = points[:, 1] - rows[column]
    weight = np.ones_like(gap)
    change = np.zeros(3)
    for _ in range(5):
        change = np.linalg.lstsq(design * weight[:, None], gap * weight, rcond=None)[0]
        left = np.abs(gap - design @ change)
        weight = 1 / (1 + (left / max(0.6, 1.5 * float(np.median(left)))) ** 2)
    bent: FloatArray = rows + np.vander(across, 3) @ change
    return bent
