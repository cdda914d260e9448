"""Where the lines across a photo end together: the outline's two ends, tried from the likeliest on."""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np
import numpy.typing as npt

from vision.edge_lines import Line, Picture, followed
from vision.measurement import FloatArray
from vision.ring import Map, Mask

# A line goes on where its step keeps to this share of the usual one, over gaps of a fortieth of the width.
KEPT, LEAST_KEPT, GAP = 0.45, 0.03, 40
LEAST_POINTS = 60
# Ends agree within this share of the picture's width; beyond twice that a line runs on.
SAME = 0.025
SNAP_PX = 8
FRAME_PX = 4
NARROWEST = 0.2
TRIED = 3
# What a line is worth that ends where others do at both ends, at one, or runs on; and an upright edge there.
BOTH, ONE, BEYOND, UPRIGHT = 1.0, 0.35, 0.35, 0.25
STRONG = 0.3


@dataclass(frozen=True, eq=False)
class Run:
    """A line as far as it goes on.

    Attributes
    ----------
    points : (N, 2) ndarray
        Points ``(x, y)`` of the picture.
    rows : (W,) ndarray
        Its parabola's row in every column.
    first, last : int
        Columns where it ends.
    hidden : (bool, bool)
        Whether something that may not be looked at begins there.
    strength : float
        The usual step, without its sign.
    """

    points: FloatArray
    rows: FloatArray
    first: int
    last: int
    hidden: tuple[bool, bool]
    strength: float

    def weight(self, width: int) -> float:
        """Return how much the line counts: long and clear."""
        return (self.last - self.first) / width * min(self.strength, STRONG)


@dataclass(frozen=True)
class Ends:
    """A guess at the outline's ends, columns of the picture; None where hidden or out of the frame."""

    score: float
    left: int | None
    right: int | None


def runs_of(picture: Picture, lines: Sequence[Line]) -> list[Run]:
    """Follow lines as far as they go on; those that can't be followed are left out."""
    runs = [_run(picture, followed(picture, line)) for line in lines]
    return [run for run in runs if run is not None]


def _run(picture: Picture, points: FloatArray) -> Run | None:
    if len(points) < LEAST_POINTS:
        return None
    across, width = picture.across, picture.step.shape[1]
    column = points[:, 0].astype(int)
    rows = np.asarray(np.polyval(np.polyfit(across[column], points[:, 1], 2), across), np.float64)
    step, shown = _steps_along(picture, rows)
    usual = float(np.median(step[column]))
    hit = (step > max(KEPT * usual, LEAST_KEPT)) & shown
    window = np.ones(max(9, width // GAP))
    seen = np.convolve(shown, window, "same")
    dense = np.convolve(hit, window, "same") / np.maximum(seen, 0.35 * len(window))
    stretch = _longest((dense > 0.6) | (seen < 0.4 * len(window)), column)
    at = np.nonzero(hit[stretch])[0] + stretch.start
    if not len(at):
        return None
    first, last = int(at[0]), int(at[-1])
    hidden = bool((~shown[max(0, first - 12) : first + 1]).any()), bool((~shown[last : last + 13]).any())
    kept = points[(points[:, 0] >= first) & (points[:, 0] <= last)]
    return Run(kept, rows, first, last, hidden, usual)


def _steps_along(picture: Picture, rows: FloatArray) -> tuple[FloatArray, Mask]:
    """Size of the largest step within two rows of a curve, and whether the curve is in sight, in every column."""
    column = np.arange(len(rows), dtype=np.float64)
    near = np.stack([read(picture.step, column, rows + shift) for shift in (-2, -1, 0, 1, 2)])
    return np.abs(near).max(axis=0), read(picture.seen.astype(np.float32), column, rows) > 0.5


def read(image: Map, x: FloatArray, y: FloatArray) -> FloatArray:
    """Read an image between its pixels."""
    read = cv2.remap(image, x.astype(np.float32)[None], y.astype(np.float32)[None], cv2.INTER_LINEAR)
    return np.asarray(read[0], np.float64)


def _longest(on: Mask, column: npt.NDArray[np.intp]) -> slice:
    """Return the stretch of columns that holds most points."""
    edges = np.diff(np.concatenate([[0], on.astype(int), [0]]))
    starts, stops = np.nonzero(edges == 1)[0], np.nonzero(edges == -1)[0]
    if not len(starts):
        return slice(0, 0)
    held = [int(((column >= start) & (column < stop)).sum()) for start, stop in zip(starts, stops, strict=True)]
    best = int(np.argmax(held))
    return slice(int(starts[best]), int(stops[best]))


def likely_ends(picture: Picture, runs: Sequence[Run]) -> list[Ends]:
    """Rank the pairs of columns between which the ring may lie.

    Parameters
    ----------
    picture : Picture
    runs : sequence of Run
        Not empty.

    Returns
    -------
    list of Ends
        The likeliest first, ``TRIED`` at most.
    """
    width = picture.step.shape[1]
    heavy = sorted(runs, key=lambda run: -run.weight(width))[:3]
    upright = _upright(picture, np.stack([run.rows for run in heavy]))
    lefts, rights = sorted({run.first for run in runs}), sorted({run.last for run in runs})
    pairs = [(left, right) for left in lefts for right in rights if right - left > NARROWEST * width]
    ranked = sorted(((_worth(runs, pair, upright), pair) for pair in pairs), reverse=True)
    kept: list[tuple[float, tuple[int, int]]] = []
    for score, pair in ranked:
        if len(kept) < TRIED and all(max(abs(pair[i] - other[i]) for i in (0, 1)) > SAME * width for _, other in kept):
            kept.append((score, pair))
    return [_ends(runs, pair, upright, score) for score, pair in kept]


def _upright(picture: Picture, rows: FloatArray) -> FloatArray:
    """How much brightness changes from column to column between the outermost of some curves, (W,)."""
    top, bottom = rows.min(axis=0), rows.max(axis=0)
    at = top + np.linspace(0.05, 0.95, 15)[:, None] * (bottom - top)
    column = np.broadcast_to(np.arange(rows.shape[1], dtype=np.float32), at.shape)
    level = cv2.remap(picture.level, column, at.astype(np.float32), cv2.INTER_LINEAR)
    step = np.zeros_like(level)
    step[:, 2:-2] = level[:, 3:-1] + level[:, 4:] - level[:, 1:-3] - level[:, :-4]
    return np.asarray(np.minimum(np.abs(step) / 2, 0.5).mean(axis=0), np.float64)


def _worth(runs: Sequence[Run], pair: tuple[int, int], upright: FloatArray) -> float:
    left, right = pair
    width = len(upright)
    same, total = SAME * width, 0.0
    for run in runs:
        at_left = abs(run.first - left) < same or (run.hidden[0] and run.first > left)
        at_right = abs(run.last - right) < same or (run.hidden[1] and run.last < right)
        inside = run.first > left - same and run.last < right + same
        beyond = int(run.first < left - 2 * same) + int(run.last > right + 2 * same)
        agrees = BOTH if at_left and at_right else ONE if inside and (at_left or at_right) else 0.0
        total += run.weight(width) * (agrees - BEYOND * beyond)
    return total + UPRIGHT * sum(float(upright[_around(x, width)].max()) for x in pair if _in_frame(x, width))


def _around(column: int, width: int) -> slice:
    return slice(max(0, column - SNAP_PX), min(width, column + SNAP_PX + 1))


def _in_frame(column: int, width: int) -> bool:
    return FRAME_PX < column < width - 1 - FRAME_PX


def _ends(runs: Sequence[Run], pair: tuple[int, int], upright: FloatArray, score: float) -> Ends:
    """Move a pair to the upright edges near it; an end that is hidden or at the frame is none."""
    width = len(upright)
    placed: list[int | None] = []
    for side, column in enumerate(pair):
        covered = any(run.hidden[side] and abs((run.first, run.last)[side] - column) < 3 for run in runs)
        near = _around(column, width)
        open_end = _in_frame(column, width) and not covered
        placed.append(near.start + int(upright[near].argmax()) if open_end else None)
    return Ends(score, placed[0], placed[1])
