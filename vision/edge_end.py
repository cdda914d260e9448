"""Where the ring's outline ends to the left and right: the silhouette of the outer cylinder."""

import numpy as np

from vision.edge_level import Level
from vision.edge_lines import DARK
from vision.edge_pose import Along
from vision.edge_unrolled import read_at
from vision.measurement import FloatArray
from vision.ring import Map, Mask

# The least step of brightness at an end, how much it counts that lines stop there, and the least of both together.
LEAST_END, STOPS, SURE_END = 0.05, 0.8, 0.4
MOST_STEP = 0.3


def find_end(
    level: Level, along: Along, where: tuple[int, float, float], reach: float
) -> tuple[FloatArray, float] | None:
    """Find the outline's end near where it was: a clear upright edge, where the rim's lines stop.

    Returns
    -------
    (2,) ndarray, float
        The end in pixels; how surely it is one, about 0 to 1.3. None where no upright edge is sure enough.
    """
    side, low_mm, high_mm = where
    reach_px = round(reach * level.size_px[0])
    beside = np.arange(-reach_px, reach_px + 1, dtype=np.float64)
    heights = np.concatenate([np.linspace(low_mm, high_mm, 26)[1:-1], [low_mm, high_mm]])
    feet = along.pixels(along.points(np.full(26, side * along.last_angle_rad * 0.9999), heights, along.radius_mm))
    across = np.array([np.cos(along.roll_rad), np.sin(along.roll_rad)])
    level_log, inside = _read(level, feet[:24, None] + beside[None, :, None] * across)
    edge = np.where(inside & _in_sight(level, feet[12] + beside[:, None] * across), _upright(level_log), 0.0)
    stops = _stops(level, feet[24:, None] + beside[None, :, None] * across, side)
    likely = (edge + STOPS * stops) * (edge > LEAST_END) * np.exp(-0.5 * (beside / (1.0 * reach_px)) ** 2)
    best = int(likely.argmax())
    sure = float(stops[best] + min(edge[best], MOST_STEP))
    if edge[best] < LEAST_END or sure < SURE_END:
        return None
    return (feet[:24].mean(axis=0) + beside[best] * across, sure)


def _read(level: Level, where_px: FloatArray) -> tuple[Map, Mask]:
    """Read the logarithm of brightness (N, W), and which columns lie in the frame."""
    width, height = level.size_px
    inside = ((where_px > 2) & (where_px < np.array([width - 3, height - 3]))).all(axis=(0, 2))
    read = read_at(level.grey, where_px.astype(np.float32))
    return np.log(read.astype(np.float32) + DARK), np.asarray(inside)


def _stops(level: Level, lines_px: FloatArray, side: int) -> FloatArray:
    """How much clearer lines (L, W, 2) are inward of a column than outward of it, -1 to 1."""
    around = lines_px[None] + np.arange(-4, 5)[:, None, None, None] * np.array([0.0, 1.0])
    log = _read(level, around.reshape(-1, *lines_px.shape[1:]))[0].reshape(9, *lines_px.shape[:2])
    step = np.abs(log[2:] - log[:-2]).max(axis=0)
    shown = np.minimum(step / max(float(np.median(step)), 0.05), 2.0).mean(axis=0)[::side]
    window = max(3, len(shown) // 8)
    total = np.concatenate([[0.0], np.cumsum(shown)])
    at = np.arange(len(shown))
    before, after = np.maximum(at - window, 0), np.minimum(at + window + 1, len(shown))
    inward = (total[at] - total[before]) / np.maximum(at - before, 1)
    outward = (total[after] - total[at + 1]) / np.maximum(after - at - 1, 1)
    return np.asarray(np.clip(inward - outward, -1, 1)[::side], np.float64)


def _in_sight(level: Level, xy_px: FloatArray) -> Mask:
    """Whether points (N, 2) lie in the frame and may be looked at."""
    x, y = xy_px.round().astype(int).T
    width, height = level.size_px
    inside = (x >= 0) & (x < width) & (y >= 0) & (y < height)
    seen: Mask = inside & level.seen[np.clip(y, 0, height - 1), np.clip(x, 0, width - 1)]
    return seen


def _upright(log: Map) -> FloatArray:
    """How much brightness changes along rows (24, W), where neighbouring rows agree."""
    step = np.zeros_like(log)
    step[:, 2:-2] = np.clip(log[:, 4:] - log[:, :-4], -0.6, 0.6)
    return np.asarray(np.abs(step.reshape(4, 6, -1).mean(axis=1)).mean(axis=0), np.float64)
