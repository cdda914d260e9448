"""Where an outline runs, seen from near: a net looks at millimetres beside a curve whose plane is known.

Beside the edge that counts run others, a fraction of a millimetre off: the face's own edge and its chamfer's, a card's
wall and its foot, the shadow on what lies below. How light falls decides which is strongest. Where the plane is known,
so is how far a wall must show on each side, and the net is told that too.
"""

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from functools import cache
from importlib import resources
from typing import Any

import cv2
import numpy as np
import numpy.typing as npt

from vision.band import BoolArray
from vision.edges import Image
from vision.layer import Stack
from vision.measurement import FloatArray
from vision.outline_look import COLUMNS, FINER, ROWS, drawn, log_shares_of, made_ready, strip, waves
from vision.ring import Face, Map, Mask

# Points of the photo along a curve to one of the strip: texture averages out.
ALONG = 4
POINTS = COLUMNS * FINER * ALONG
SIDES = 4
# Rows about a line that still tell of it; a column shows an outline, and a side does, from such a share.
NEAR_ROWS, LEAST_SHOWN = 4.0, 0.3
# Something round is alone where so little is seen beside it, and it shows clearly where it does in most columns.
MOST_STRAY, CLEAR, CLEARLY = 0.12, 0.7, 0.75
# Looks at what runs level, each from where the last one saw it.
LOOKS = 2
TINY = 1e-9


@dataclass(frozen=True, eq=False)
class Course:
    """Where an outline is taken to run, in pixels.

    Attributes
    ----------
    foot_px : (POINTS, 2) ndarray
        Points at even steps round it, or as many on each of its sides.
    out_px : (POINTS, 2) ndarray
        Where they come to lie a millimetre farther outward on their plane, from the foot.
    down_px : (POINTS, 2) ndarray
        The same a millimetre below it.
    """

    foot_px: FloatArray
    out_px: FloatArray
    down_px: FloatArray

    @classmethod
    def of(cls, face: Face, foot_mm: FloatArray, out_mm: FloatArray) -> "Course":
        """Return how points (POINTS, 3) of the rotor, and others a millimetre farther outward, look."""
        return cls.through(face.to_pixels, foot_mm, out_mm, foot_mm - np.array([0.0, 0.0, 1.0]))

    @classmethod
    def through(
        cls, to_pixels: Callable[[FloatArray], FloatArray], foot_mm: FloatArray, out_mm: FloatArray, down_mm: FloatArray
    ) -> "Course":
        """Return how points (POINTS, 3), and others a millimetre farther outward and deeper, look."""
        foot, out, down = (to_pixels(points) for points in (foot_mm, out_mm, down_mm))
        return cls(foot, out - foot, down - foot)

    @property
    def px_per_mm(self) -> FloatArray:
        """How long a millimetre outward looks at each point, (POINTS,)."""
        return np.asarray(np.linalg.norm(self.out_px, axis=1))

    @property
    def relief(self) -> FloatArray:
        """How far outward what lies a millimetre deeper shows, mm, (COLUMNS,): negative where it is hidden."""
        shown = (self.down_px * self.out_px).sum(axis=1) / np.maximum(self.px_per_mm, TINY) ** 2
        return _by_column(shown)

    @property
    def column_px(self) -> FloatArray:
        """The middle of each column, (COLUMNS, 2)."""
        return _by_column(self.foot_px)

    @property
    def column_px_per_mm(self) -> FloatArray:
        """How long a millimetre outward looks in each column, (COLUMNS,)."""
        return _by_column(self.px_per_mm)

    def moved_px(self, offset_mm: FloatArray) -> FloatArray:
        """Return the columns' middles, (COLUMNS, 2), moved outward (COLUMNS,)."""
        return self.column_px + offset_mm[:, None] * _by_column(self.out_px)

    def strip(self, photo: Image, step_mm: float, rows: int = ROWS) -> Image:
        """Unroll a photo along it, (rows, COLUMNS * FINER, 3), rows so far apart, from the inside outward."""
        unit = float(np.median(self.px_per_mm))
        fine = strip(photo, (self.foot_px, self.out_px / unit), step_mm * unit, rows, POINTS)
        return np.asarray(cv2.resize(fine, (COLUMNS * FINER, rows), interpolation=cv2.INTER_AREA))

    def shown(self, seen: Mask, step_mm: float) -> BoolArray:
        """Return where a mask of the photo (H, W) and its borders leave the strip open, (ROWS, COLUMNS)."""
        outward_mm = (np.arange(ROWS) - (ROWS - 1) / 2) * step_mm
        where = np.rint(self.column_px + outward_mm[:, None, None] * _by_column(self.out_px)).astype(np.intp)
        last = np.array(seen.shape[::-1]) - 2
        column, row = np.moveaxis(where.clip(1, last), -1, 0)
        return np.asarray(seen[row, column] & (where >= 1).all(axis=-1) & (where <= last).all(axis=-1))


def _by_column(part: FloatArray) -> FloatArray:
    return np.asarray(part.reshape(COLUMNS, -1, *part.shape[1:]).mean(axis=1))


def round_sides(corners_mm: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return points round a rectangle, as many on each side, and those a millimetre farther outward: (POINTS, 2)."""
    count = POINTS // SIDES
    share = ((np.arange(count) + 0.5) / count)[:, None]
    run = np.roll(corners_mm, -1, axis=0) - corners_mm
    points = (corners_mm[:, None] + share * run[:, None]).reshape(-1, 2)
    normal = np.stack([run[:, 1], -run[:, 0]], axis=1) / np.linalg.norm(run, axis=1)[:, None]
    outward = ((corners_mm + run / 2 - corners_mm.mean(axis=0)) * normal).sum(axis=1)
    return points, points + np.repeat(normal * np.sign(outward)[:, None], count, axis=0)


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

    def without(self, hidden: BoolArray) -> "Near":
        """Return the same of the columns that nothing hides, ``hidden`` (COLUMNS,)."""
        return replace(self, share=self.share * ~hidden)

    def is_round(self, most_waves_mm: float) -> bool:
        """Whether something round shows clearly: little is seen beside one line, which departs but little."""
        basis = waves()
        parts = drawn(self.share, basis)
        _, _, weight = _beside(self.share, basis @ parts)
        shown = weight > LEAST_SHOWN
        clear = (weight > CLEAR).sum() > CLEARLY * max(1, shown.sum())
        alone = weight.sum() > (1 - MOST_STRAY) * self.share.sum()
        return bool(clear and alone and np.hypot(*parts[1:].reshape(-1, 2).T).max() * self.step_mm < most_waves_mm)

    def round_mm(self) -> tuple[FloatArray, FloatArray, BoolArray]:
        """Return how far outward something round runs, mm, how far its rows spread, and where it shows: (COLUMNS,)."""
        basis = waves()
        offset, spread, weight = _beside(self.share, basis @ drawn(self.share, basis))
        return offset * self.step_mm, spread * self.step_mm, weight > LEAST_SHOWN

    def level_mm(self, shown: BoolArray) -> tuple[FloatArray, FloatArray, BoolArray] | None:
        """Return the same as `round_mm` of what runs nearly level.

        None where too few columns show it, of what nothing hides, ``shown`` (ROWS, COLUMNS).
        """
        along = (2 * np.arange(COLUMNS) + 1) / COLUMNS - 1
        basis = np.stack([np.ones(COLUMNS), along, along**2], axis=1)
        share = self.share * shown
        offset, spread, weight = _beside(share, basis @ drawn(share, basis))
        shows = weight > LEAST_SHOWN
        told = offset * self.step_mm, spread * self.step_mm, shows
        return told if shows.sum() > LEAST_SHOWN * COLUMNS else None

    def straight_mm(self, columns: npt.NDArray[np.intp], use: BoolArray) -> tuple[FloatArray, float] | None:
        """Return how far outward a straight side runs in its columns (C,), mm, and its deviation.

        ``use`` (C,) says which of them count; None where too few of those show it. As a whole a side is told as
        surely as its rows spread in a column: 308 sides that the net does not know.
        """
        share = self.share[:, columns] * use
        if share.sum() < LEAST_SHOWN * len(columns):
            return None
        along = (2 * np.arange(len(columns)) + 1) / len(columns) - 1
        basis = np.stack([np.ones(len(columns)), along], axis=1)
        line = basis @ drawn(share, basis)
        _, spread, weight = _beside(share, line)
        return line * self.step_mm, float(np.average(spread, weights=weight)) * self.step_mm


def _beside(share: FloatArray, line: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return mean, spread and weight of each column (C,) within a few rows of a line, in rows from the middle."""
    row = np.arange(ROWS)[:, None] - (ROWS - 1) / 2
    near = share * np.exp(-0.5 * ((row - line) / NEAR_ROWS) ** 2)
    weight = near.sum(axis=0)
    mean = (near * row).sum(axis=0) / np.maximum(weight, TINY)
    spread = np.sqrt((near * (row - mean) ** 2).sum(axis=0) / np.maximum(weight, TINY))
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

    def settled(
        self, photo: Image, seen: Mask, course_at: Callable[[float], Course], place_mm: float
    ) -> "Settled | None":
        """Look where something runs nearly level, a second time from where the first look saw it.

        Parameters
        ----------
        photo : (H, W, 3) ndarray of uint8
        seen : (H, W) ndarray of bool
            Where nothing is known to stand before it.
        course_at : callable
            Returns the course at a place, which grows outward, mm.
        place_mm : float
            Where it is taken to run.

        Returns
        -------
        Settled or None
            None where it hardly shows.
        """
        for _ in range(LOOKS):
            course = course_at(place_mm)
            told = self.look(photo, course).level_mm(course.shown(seen, self.step_mm))
            if told is None:
                return None
            offset_mm, spread_mm, shows = told
            place_mm += float(np.median(offset_mm[shows]))
        return Settled(course, offset_mm, shows, place_mm, float(np.median(spread_mm[shows])))

    def log_shares(self, levels: Image, relief: FloatArray) -> Map:
        """Return logarithms of probabilities, (ROWS + 1, COLUMNS), for a strip and its relief."""
        return log_shares_of(self.stack, with_relief(made_ready(levels), relief))


@dataclass(frozen=True, eq=False)
class Settled:
    """Where something runs, seen from where it was seen before.

    Attributes
    ----------
    course : Course
    offset_mm : (COLUMNS,) ndarray
        How far outward of it.
    shows : (COLUMNS,) ndarray of bool
        Where it does.
    place_mm, spread_mm : float
        Where it is in the middle, and how far the rows spread that tell so.
    """

    course: Course
    offset_mm: FloatArray
    shows: BoolArray
    place_mm: float
    spread_mm: float

    @property
    def points_px(self) -> FloatArray:
        """The columns' middles on it, (COLUMNS, 2)."""
        return self.course.moved_px(self.offset_mm)


def with_relief(shown: Map, relief: FloatArray) -> Map:
    """Add to a strip made ready (4, ROWS, COLUMNS) what its relief (COLUMNS,) is: (5, ROWS, COLUMNS)."""
    told = np.broadcast_to(relief.astype(np.float32), shown.shape[1:])
    return np.concatenate([shown, told[None]])


@cache
def shipped_near_net(table: str) -> NearNet:
    """Read a net that was trained on sample photos, of rim, inner, card or coin; its provenance is in the file."""
    return NearNet.of(json.loads(resources.files("vision").joinpath(f"{table}_near_net.json").read_text("utf-8")))
