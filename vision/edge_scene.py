"""The scene along a rotor's plane, fitted: camera, cylinder, lines on it, the outline's ends, a reference before it."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt
from uncertainties import UFloat, correlated_values

from vision.camera import Camera
from vision.edge_pose import Along
from vision.figure import Sighting
from vision.measurement import FloatArray
from vision.references.sides import to_pixels
from vision.unknowns import Unknowns

ROUNDS, TRIALS, DERIVATIVE_STEP = 25, 6, 1e-3
# Settling less well where another fit follows would save a tenth of the time, but leads that one astray.
CONVERGED = 1e-3
# Unknowns that tell where the camera stands, and how much of its deviation each is moved by to see what that changes.
PLACE = ("log_focal", "shift_x", "shift_y", "k1", "roll", "pitch", "yaw", "log_radius", "log_clear")
STEP_SHARE = 0.1
# Residuals beyond this many deviations lose their weight.
CORE = 2.5


@dataclass(frozen=True, eq=False)
class Seen:
    """What a photo shows of the scene, in its pixels, the ring lying level.

    Attributes
    ----------
    lines : sequence of (N, 2) ndarray
        Points of each line across the rim.
    corner : sequence of bool
        Which of them run where the faces end, a chamfer's width inside the cylinder.
    ends_px : (M, 2) ndarray
        Points of the outline's left and right ends.
    end_std_px : float or (M,) ndarray
        Standard deviations of the ends.
    point_std_px, corner_std_px : float
        Those of a point on a line, of a reference's corner.
    corners_px, corners_mm : (4, 2) ndarray
        The reference's corners in the photo and in its own frame, as it stands in the picture; none without one.
    """

    lines: Sequence[FloatArray]
    corner: Sequence[bool]
    ends_px: FloatArray = field(default_factory=lambda: np.zeros((0, 2)))
    end_std_px: float | FloatArray = 2.0
    point_std_px: float = 0.5
    corner_std_px: float = 0.3
    corners_px: FloatArray = field(default_factory=lambda: np.zeros((0, 2)))
    corners_mm: FloatArray = field(default_factory=lambda: np.zeros((0, 2)))

    @cached_property
    def points_px(self) -> FloatArray:
        """All lines' points, (N, 2)."""
        return np.concatenate(self.lines)

    @cached_property
    def rim_px(self) -> FloatArray:
        """All lines' points, and the ends, (N + M, 2)."""
        return np.concatenate([self.points_px, self.ends_px])

    @cached_property
    def line_of(self) -> npt.NDArray[np.intp]:
        """Which line each point is on."""
        return np.repeat(np.arange(len(self.lines)), [len(points) for points in self.lines])

    @cached_property
    def inset(self) -> FloatArray:
        """1 for points that run a chamfer's width inside the cylinder."""
        return np.array(self.corner, np.float64)[self.line_of]


@dataclass(frozen=True, eq=False)
class EdgeScene:
    """A fitted scene: every unknown at its best, and their covariance.

    Attributes
    ----------
    values : mapping of str to float
    covariance : (P, P) ndarray
        In the order of ``values``.
    size_px : (int, int)
    line_rms_px : sequence of float
        Root mean square of each line's residuals, outliers weighed down.
    misfit, strain : float
        The least cost, comparable between fits of the same points; and what of it is not the points': squares of the
        deviations from what was known beforehand and from the reference's corners.
    """

    values: Mapping[str, float]
    covariance: FloatArray
    size_px: tuple[int, int]
    line_rms_px: Sequence[float]
    misfit: float
    strain: float

    @property
    def along(self) -> Along:
        """Where the camera stands."""
        return along_of(self.values, self.size_px)

    def line_mm(self, number: int) -> float:
        """Height of a line above the camera's plane."""
        return self.values[f"line{number}"]

    def line_number(self, number: int) -> UFloat:
        """Return it with its correlations."""
        return self.numbers[f"line{number}"]

    def number_of(self, length: Callable[[Along], float]) -> UFloat:
        """Return a length that the camera's place gives with its correlations."""
        here, known = length(self.along), [self.numbers[name] for name in PLACE]
        steps = [STEP_SHARE * number.std_dev for number in known]
        moved = [{**self.values, name: self.values[name] + step} for name, step in zip(PLACE, steps, strict=True)]
        changes = [length(along_of(values, self.size_px)) - here for values in moved]
        slopes = [change / step for change, step in zip(changes, steps, strict=True)]
        return here + sum(slope * (number - number.n) for slope, number in zip(slopes, known, strict=True))

    @cached_property
    def numbers(self) -> dict[str, UFloat]:
        """Every unknown as a number with its correlations."""
        return dict(zip(self.values, correlated_values(list(self.values.values()), self.covariance), strict=True))


def along_of(values: Mapping[str, Any], size_px: tuple[int, int]) -> Along:
    """Build the camera's place from the unknowns: numbers, or columns (B, 1) of a batch."""
    width, height = size_px
    shift_x, shift_y = (max(size_px) * values.get(f"shift_{axis}", 0.0) for axis in "xy")
    middle = (width - 1) / 2 + shift_x, (height - 1) / 2 + shift_y
    camera = Camera(np.exp(values["log_focal"]), *middle, values["k1"])
    radius_mm = np.exp(values["log_radius"])
    away_mm = radius_mm * (1.0 + np.exp(values["log_clear"]))
    return Along(camera, values["roll"], values["pitch"], values["yaw"], away_mm, radius_mm)


def fit_edge(unknowns: Unknowns, seen: Seen, size_px: tuple[int, int], *, core: float = CORE) -> EdgeScene:
    """Fit every unknown to everything seen at once, robustly.

    Parameters
    ----------
    unknowns : Unknowns
        ``log_focal, k1, roll, pitch, yaw, log_radius``, ``log_clear`` (the nearest point's distance over the radius),
        ``chamfer``; where they may differ from 0 ``shift_x, shift_y``; with a reference ``ref_turn, ref_across, ref_z,
        ref_roll, ref_lean, ref_off, ref_size``; and last ``line0`` and so on.
    seen : Seen
    size_px : (int, int)
    core : float
        Residuals of points well beyond this many deviations lose their weight.

    Returns
    -------
    EdgeScene

    Notes
    -----
    Gauss-Newton with Marquardt's damping; Geman and McClure's weights on lines and ends.
    """
    problem = _Problem(unknowns, seen, size_px, core)
    state, damping = unknowns.column("start"), 1e-3
    gaps, slope = problem.look(state)
    for _ in range(ROUNDS):
        normal, force = problem.equations(state, gaps, slope)
        before = problem.cost(state, gaps)
        for _ in range(TRIALS):
            step = -np.linalg.solve(normal + damping * np.diag(np.diag(normal)), force)
            trial = state + step * problem.scale
            trial_gaps, trial_slope = problem.look(trial)
            if problem.cost(trial, trial_gaps) <= before:
                break
            damping *= 8
        else:
            break
        state, gaps, slope, damping = trial, trial_gaps, trial_slope, damping / 5
        if np.abs(step).max() < CONVERGED:
            break
    covariance = np.linalg.inv(problem.equations(state, gaps, slope)[0]) * np.outer(problem.scale, problem.scale)
    return EdgeScene(
        problem.named(state),
        covariance,
        size_px,
        problem.line_rms(gaps),
        problem.cost(state, gaps),
        problem.strain(state, gaps),
    )


class _Problem:
    """The least-squares problem: residuals in standard deviations, their slopes, robust weights."""

    def __init__(self, unknowns: Unknowns, seen: Seen, size_px: tuple[int, int], core: float) -> None:
        self.names, self.seen, self.size_px, self.core = unknowns.names, seen, size_px, core
        self.scale, self.mean, self.std = (unknowns.column(name) for name in ("scale", "mean", "std"))
        self.bent = len(self.names) - len(seen.lines)
        # The reference is trusted, everything else robust.
        self.robust = len(seen.points_px) + len(seen.ends_px)

    def named(self, state: FloatArray) -> dict[str, float]:
        return dict(zip(self.names, state.tolist(), strict=True))

    def gaps(self, states: FloatArray) -> FloatArray:
        """Everything seen less what the scenes (B, P) say: lines, ends, the reference's corners (B, N)."""
        seen = self.seen
        values = dict(zip(self.names, np.moveaxis(states, -1, 0)[..., None], strict=True))
        along = along_of(values, self.size_px)
        radius_mm = along.radius_mm - values["chamfer"] * seen.inset
        rays = along.rays(seen.rim_px)
        z_mm, scale = along.heights(rays[:, : len(seen.points_px)], radius_mm)
        parts = [(z_mm - states[:, self.bent :][:, seen.line_of]) * scale / seen.point_std_px]
        if len(seen.ends_px):
            parts.append(along.beside_px(rays[:, len(seen.points_px) :]) / seen.end_std_px)
        if len(seen.corners_px):
            corners = (_corners(values, along, seen) - seen.corners_px) / seen.corner_std_px
            parts.append(corners.reshape(len(states), -1))
        return np.concatenate(parts, axis=1)

    def weight(self, gaps: FloatArray) -> FloatArray:
        weight = np.ones_like(gaps)
        weight[: self.robust] = 1.0 / (1.0 + (gaps[: self.robust] / self.core) ** 2) ** 2
        return weight

    def cost(self, state: FloatArray, gaps: FloatArray) -> float:
        return float(_loss(gaps[: self.robust], self.core).sum()) + self.strain(state, gaps)

    def strain(self, state: FloatArray, gaps: FloatArray) -> float:
        pull = (state - self.mean) / self.std
        return float((gaps[self.robust :] ** 2).sum() + (pull**2).sum())

    def look(self, state: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the gaps (N,) and their slopes (N, P), in units of ``scale``, from one batch of scenes."""
        count = len(self.seen.line_of)
        steps = np.diag(self.scale * DERIVATIVE_STEP)
        # The last trial moves all lines at once: a line's own height moves only its points.
        moves = [np.zeros((1, len(state))), steps[: self.bent], steps[self.bent :].sum(axis=0, keepdims=True)]
        gaps, *changed = self.gaps(state + np.concatenate(moves))
        change = (np.array(changed) - gaps) / DERIVATIVE_STEP
        slope = np.zeros((len(gaps), len(state)))
        slope[:, : self.bent] = change[:-1].T
        slope[np.arange(count), self.bent + self.seen.line_of] = change[-1, :count]
        return gaps, slope

    def equations(self, state: FloatArray, gaps: FloatArray, slope: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the normal matrix and force, in units of ``scale``."""
        weight, pull = self.weight(gaps), self.scale / self.std
        normal = slope.T @ (weight[:, None] * slope) + np.diag(pull**2)
        return normal, slope.T @ (weight * gaps) + pull * (state - self.mean) / self.std

    def line_rms(self, gaps: FloatArray) -> list[float]:
        """Root mean square of each line's residuals, px, outliers weighed down."""
        loss = _loss(gaps[: len(self.seen.line_of)], CORE)
        count = np.maximum(np.bincount(self.seen.line_of, minlength=len(self.seen.lines)), 1)
        total = np.bincount(self.seen.line_of, loss, minlength=len(self.seen.lines))
        return [float(rms) for rms in np.sqrt(total / count) * self.seen.point_std_px]


def _loss(gaps: FloatArray, core: float) -> FloatArray:
    square = (gaps / core) ** 2
    return np.asarray(core**2 * square / (1 + square))


def _corners(values: Mapping[str, Any], along: Along, seen: Seen) -> FloatArray:
    """Project the reference's corners: it stands upright in the plane that touches the nearest edge."""
    x, y = (values["ref_size"] * side for side in seen.corners_mm.T)
    cos, sin = np.cos(values["ref_roll"]), np.sin(values["ref_roll"])
    right, up = cos * x - sin * y + values["ref_across"], sin * x + cos * y
    lean, turn = values["ref_lean"], values["ref_turn"]
    out = along.radius_mm + values["ref_off"] + np.sin(lean) * up
    points = np.stack(
        [
            out * np.cos(turn) - right * np.sin(turn),
            out * np.sin(turn) + right * np.cos(turn),
            values["ref_z"] + np.cos(lean) * up,
        ],
        axis=-1,
    )
    return along.pixels(points)


def corners_of(sighting: Sighting, upright: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return a reference's corners in the picture and in the frame of its place, which stands upright.

    Parameters
    ----------
    sighting : Sighting
    upright : (2, 3) ndarray
        From the photo's pixels to those of the picture in which the ring lies level.

    Returns
    -------
    corners_px, corners_mm : (4, 2) ndarray
        x to the right and y upward as they stand in the picture.
    """
    sides = sighting.figure.sides
    half_x, half_y = (float(np.abs(sides[np.abs(sides[:, axis]) > 0.5, 2]).max()) for axis in (0, 1))
    corners_mm = np.array([[-half_x, half_y], [half_x, half_y], [half_x, -half_y], [-half_x, -half_y]])
    corners_px = to_pixels(sighting.pose, corners_mm) @ upright[:, :2].T + upright[:, 2]
    up_px = corners_px[:2].sum(axis=0) - corners_px[2:].sum(axis=0)
    quarters = round(float(np.arctan2(up_px[0], -up_px[1])) / (np.pi / 2))
    cos, sin = np.cos(quarters * np.pi / 2), np.sin(quarters * np.pi / 2)
    return corners_px, corners_mm @ np.array([[cos, -sin], [sin, cos]])
