"""Where an outline runs, seen from near: a net looks at millimetres beside a curve whose plane is known.

Beside the edge that counts run others, a fraction of a millimetre off: the face's own edge and its chamfer's, a card's
wall and its foot, the shadow on what lies below. How light falls decides which is strongest. Where the plane is known,
so is how far a wall must show on each side, and the net is told that too.
"""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

import cv2
import numpy as np

from vision.band import BoolArray
from vision.edges import Image
from vision.layer import Stack
from vision.measurement import FloatArray
from vision.outline_look import COLUMNS, FINER, ROWS, drawn, made_ready, strip, waves
from vision.ring import Map

# Points of the photo along a curve to one of the strip: texture averages out.
ALONG = 4
POINTS = COLUMNS * FINER * ALONG
# Rows about a line that still tell of it; a column shows an outline, and a side does, from such a share.
NEAR_ROWS, LEAST_SHOWN = 4.0, 0.3
# How well a card's side is told as a whole, over its spread in a column.
SIDE_DOUBT = 1.0


@dataclass(frozen=True, eq=False)
class Course:
    """Where an outline is taken to run, in pixels.

    Attributes
    ----------
    foot_px : (POINTS, 2) ndarray
        Points at even steps round it.
    out_px : (POINTS, 2) ndarray
        Where they come to lie a millimetre farther outward on their plane, from the foot.
    down_px : (POINTS, 2) ndarray
        The same a millimetre below it.
    """

    foot_px: FloatArray
    out_px: FloatArray
    down_px: FloatArray

    @property
    def px_per_mm(self) -> FloatArray:
        """How long a millimetre outward looks at each point, (POINTS,)."""
        return np.asarray(np.linalg.norm(self.out_px, axis=1))

    @property
    def relief(self) -> FloatArray:
        """How far outward what lies a millimetre deeper shows, mm, (COLUMNS,): negative where it is hidden."""
        shown = (self.down_px * self.out_px).sum(axis=1) / np.maximum(self.px_per_mm, 1e-9) ** 2
        return np.asarray(shown.reshape(COLUMNS, -1).mean(axis=1))

    def strip(self, photo: Image, step_mm: float, rows: int = ROWS) -> Image:
        """Unroll a photo along it, (rows, COLUMNS * FINER, 3), rows so far apart, from the inside outward."""
        unit = float(np.median(self.px_per_mm))
        fine = strip(photo, (self.foot_px, self.out_px / unit), step_mm * unit, rows, POINTS)
        return np.asarray(cv2.resize(fine, (COLUMNS * FINER, rows), interpolation=cv2.INTER_AREA))


def around(corners_mm: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return points round a shape with straight sides, as many on each, and unit normals outward: (POINTS, 2) each."""
    count = POINTS // len(corners_mm)
    share = ((np.arange(count) + 0.5) / count)[:, None]
    run = np.roll(corners_mm, -1, axis=0) - corners_mm
    points = (corners_mm[:, None] + share * run[:, None]).reshape(-1, 2)
    normal = np.stack([run[:, 1], -run[:, 0]], axis=1) / np.linalg.norm(run, axis=1)[:, None]
    outward = ((corners_mm + run / 2 - corners_mm.mean(axis=0)) * normal).sum(axis=1)
    return points, np.repeat(normal * np.sign(outward)[:, None], count, axis=0)


@dataclass(frozen=True, eq=False)
class Near:
    """What a net says of a course.

    Attributes
    ----------
    share : (ROWS, COLUMNS) ndarray
        Probability that the outline runs through a row.
    step_mm : float
        Distance of two rows.
    """

    share: FloatArray
    step_mm: float

    def round_mm(self) -> tuple[FloatArray, FloatArray, BoolArray]:
        """Return how far outward something round runs (COLUMNS,), how surely, and where it shows."""
        basis = waves()
        offset, std, weight = self._near_line(basis @ drawn(self.share, basis, np.ones(COLUMNS)))
        return offset * self.step_mm, std * self.step_mm, weight > LEAST_SHOWN

    def straight_mm(self, number: int, use: BoolArray) -> tuple[float, float, float] | None:
        """Return the level and slope, from its middle to its end, of one of four sides, and its deviation.

        ``use`` (COLUMNS / 4,) says which columns of it count; None where too few of them show it.
        """
        long = COLUMNS // 4
        share = self.share[:, number * long : (number + 1) * long] * use
        if share.sum() < LEAST_SHOWN * long:
            return None
        along = (2 * np.arange(long) + 1) / long - 1
        basis = np.stack([np.ones(long), along], axis=1)
        solved = drawn(share, basis, np.ones(long))
        own = Near(share, self.step_mm)
        _, std, weight = own._near_line(basis @ solved)
        spread = float(np.average(std, weights=weight)) * self.step_mm
        return float(solved[0]) * self.step_mm, float(solved[1]) * self.step_mm, SIDE_DOUBT * spread

    def _near_line(self, line: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return mean, spread and weight of each column within a few rows of a line (C,), in rows from the middle."""
        row = np.arange(ROWS)[:, None] - (ROWS - 1) / 2
        near = self.share * np.exp(-0.5 * ((row - line) / NEAR_ROWS) ** 2)
        weight = near.sum(axis=0)
        mean = (near * row).sum(axis=0) / np.maximum(weight, 1e-9)
        spread = np.sqrt((near * (row - mean) ** 2).sum(axis=0) / np.maximum(weight, 1e-9))
        return mean, spread, weight


@dataclass(frozen=True, eq=False)
class NearNet:
    """A net for strips seen from near.

    Attributes
    ----------
    step_mm : float
        From row to row.
    """

    step_mm: float
    stack: Stack

    @classmethod
    def of(cls, plain: Mapping[str, Any]) -> "NearNet":
        """Build the net from its JSON form."""
        return cls(plain["step_mm"], Stack.of(plain["layers"], is_round=True))

    def look(self, photo: Image, course: Course) -> Near:
        """Tell where the outline runs along a course."""
        log_share = self.log_shares(course.strip(photo, self.step_mm), course.relief)
        return Near(np.exp(log_share[:-1].astype(np.float64)), self.step_mm)

    def log_shares(self, levels: Image, relief: FloatArray) -> Map:
        """Return logarithms of probabilities, (ROWS + 1, COLUMNS), for a strip and its relief."""
        outline, nowhere = self.stack.over(with_relief(made_ready(levels), relief))
        scores = np.vstack([outline, nowhere.mean(axis=0)])
        scores -= scores.max(axis=0)
        return np.asarray(scores - np.log(np.exp(scores).sum(axis=0)), np.float32)


def with_relief(shown: Map, relief: FloatArray) -> Map:
    """Add to a strip made ready (4, ROWS, COLUMNS) what its relief (COLUMNS,) is: (5, ROWS, COLUMNS)."""
    told = np.broadcast_to(relief.astype(np.float32), shown.shape[1:])
    return np.concatenate([shown, told[None]])


@cache
def shipped_near_net(table: str) -> NearNet:
    """Read a net that was trained on sample photos, ``rim``, ``card`` or ``coin``; its provenance is in the file."""
    return NearNet.of(json.loads(resources.files("vision").joinpath(f"{table}_near_net.json").read_text("utf-8")))
