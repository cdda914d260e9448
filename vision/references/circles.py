"""A small circle among its neighbours: every edge along rays from its centre, and the circles that run through them."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from vision.edges import Image, offsets_px, profiles, slopes
from vision.measurement import FloatArray
from vision.references.floor import Floor
from vision.references.outline import LIGHT
from vision.references.sides import to_pixels

RAYS = 96
# How far from the guessed radius edges are read, and how finely circles are tried, as shares of it.
REACH = 0.5
NEIGHBOURS = 5
GRID = 0.02
SHIFTS = 0.16
TOLERANCE = 0.022
# Edges weaker than this, in levels per pixel or against the strongest on their ray, don't count.
LEAST_SLOPE = 2.5
LEAST_SHARE = 0.12
NEARLY_BEST = 0.72
FIT_STEPS = 4
LEAST_TOLERANCE_PX = 1.0
FINE_TOLERANCE, FINE_TOLERANCE_PX = 0.01, 0.7


@dataclass(frozen=True)
class Profiles:
    """Edges along rays from a guessed centre.

    Attributes
    ----------
    angle_rad : (N,) ndarray
        Of the rays, on the plane.
    along_mm : (M,) ndarray
        Offsets from the guessed circle, outward, nominal mm on the plane.
    xy_px : (N, M, 2) ndarray
        Where these are in the photo.
    strength : (N, M) ndarray
        Steepness in all colours, levels per pixel.
    fall : (N, M) ndarray
        Brightness lost going outward, levels per pixel.
    peak : (N, M) ndarray of bool
        Where the strength has a peak that counts.
    radius_mm : float
        The guess.
    """

    angle_rad: FloatArray
    along_mm: FloatArray
    xy_px: FloatArray
    strength: FloatArray
    fall: FloatArray
    peak: npt.NDArray[np.bool_]
    radius_mm: float

    @property
    def px_per_mm(self) -> float:
        """Scale along the rays."""
        run = np.linalg.norm(self.xy_px[:, -1] - self.xy_px[:, 0], axis=1)
        return float(run.mean() / (self.along_mm[-1] - self.along_mm[0]))


@dataclass(frozen=True)
class Round:
    """A circle: the guess's centre shifted and its radius grown, on the plane.

    Attributes
    ----------
    shift_mm : (2,) ndarray
    growth_mm : float
    support : float
        Share of the rays with an edge on it.
    spread_px : float
        Robust standard deviation of its edges.
    """

    shift_mm: FloatArray
    growth_mm: float
    support: float
    spread_px: float = np.inf

    def offset_mm(self, angle_rad: FloatArray) -> FloatArray:
        """Return where the circle crosses each ray, as an offset from the guessed one."""
        x, y = self.shift_mm
        offset: FloatArray = self.growth_mm + x * np.cos(angle_rad) + y * np.sin(angle_rad)
        return offset


@dataclass(frozen=True)
class RoundEdge:
    """Sub-pixel points on a circle's edge, and which side is the brighter (+1 inside)."""

    xy_px: FloatArray
    bright_inside: FloatArray


def read_profiles(bgr: Image, floor: Floor, centre_mm: FloatArray, radius_mm: float) -> Profiles:
    """Read the photo along rays from a guessed centre on the plane."""
    angle = np.linspace(0.0, 2 * np.pi, RAYS, endpoint=False)
    outward = np.stack([np.cos(angle), np.sin(angle)], axis=-1)
    foot = to_pixels(floor.homography, centre_mm + radius_mm * outward)
    reach = REACH * radius_mm * outward
    ray = to_pixels(floor.homography, centre_mm + radius_mm * outward + reach) - to_pixels(
        floor.homography, centre_mm + radius_mm * outward - reach
    )
    per_mm = np.linalg.norm(ray, axis=1) / (2 * REACH * radius_mm)
    step_px = 0.5
    along_px = offsets_px(REACH * radius_mm * float(per_mm.mean()), step_px)
    along_mm: FloatArray = along_px / float(per_mm.mean())
    # Every ray has its own scale: equal offsets on the plane, not in the picture.
    stretch: FloatArray = (per_mm / per_mm.mean())[:, None] * ray / np.linalg.norm(ray, axis=1, keepdims=True)
    colours = profiles(bgr, foot, stretch, along_px)
    slope = _with_neighbours(np.stack([slopes(colours[..., c], along_px, 1.0) for c in range(3)], axis=-1))
    strength: FloatArray = np.sqrt((slope**2).mean(axis=2))
    xy_px: FloatArray = foot[:, None] + along_px[None, :, None] * stretch[:, None]
    return Profiles(angle, along_mm, xy_px, strength, -(slope @ LIGHT), _peaks(strength), radius_mm)


def _with_neighbours(slope: FloatArray) -> FloatArray:
    """Average over neighbouring rays: noise and relief go, what runs round stays."""
    reach = NEIGHBOURS // 2
    lags = [np.roll(slope, lag, axis=0) for lag in range(-reach, reach + 1)]
    average: FloatArray = np.mean(lags, axis=0)
    return average


def _peaks(strength: FloatArray) -> npt.NDArray[np.bool_]:
    peak = np.zeros(strength.shape, np.bool_)
    middle = strength[:, 1:-1]
    peak[:, 1:-1] = (middle >= strength[:, :-2]) & (middle > strength[:, 2:])
    least = np.maximum(LEAST_SLOPE, LEAST_SHARE * strength.max(axis=1, keepdims=True))
    return np.asarray(peak & (strength > least))


def rounds(read: Profiles, growth_mm: tuple[float, float]) -> list[Round]:
    """Return the circles, within limits of their growth, that show nearly as far round as the best, inner first."""
    near = _nearness(read)
    shifts = np.arange(-SHIFTS, SHIFTS + 1e-9, GRID) * read.radius_mm
    shift = np.stack(np.meshgrid(shifts, shifts), axis=-1).reshape(-1, 2)
    wander = shift @ np.stack([np.cos(read.angle_rad), np.sin(read.angle_rad)])
    low, high = max(growth_mm[0], read.along_mm[0]), min(growth_mm[1], read.along_mm[-1])
    rays = np.arange(len(read.angle_rad))
    step = read.along_mm[1] - read.along_mm[0]
    found = []
    for growth in np.arange(low, high + 1e-9, GRID * read.radius_mm):
        at = np.rint((wander + growth - read.along_mm[0]) / step).astype(np.intp)
        inside = (at >= 0) & (at < len(read.along_mm))
        support = np.where(inside, near[rays, np.where(inside, at, 0)], 0.0).mean(axis=1)
        found.append(Round(shift[support.argmax()], float(growth), float(support.max())))
    height = np.array([each.support for each in found])
    if not len(height):
        return []
    local = (height >= np.r_[0, height[:-1]]) & (height >= np.r_[height[1:], 0])
    return [found[i] for i in np.flatnonzero(local & (height >= NEARLY_BEST * height.max()))]


def _nearness(read: Profiles) -> FloatArray:
    """Return how near an edge is at each point of each ray: 1 on it, 0 beyond the tolerance."""
    step = read.along_mm[1] - read.along_mm[0]
    width = max(1, round(TOLERANCE * read.radius_mm / step))
    ramp = 1 - np.abs(np.arange(-width, width + 1)) / (width + 1)
    near = np.zeros(read.peak.shape)
    for lag, value in zip(range(-width, width + 1), ramp, strict=True):
        rolled = np.roll(read.peak, lag, axis=1)
        near = np.maximum(near, value * rolled)
    return near


def fit_round(read: Profiles, start: Round) -> tuple[Round, RoundEdge] | None:
    """Fit a circle to the nearest edge on each ray, robustly, to a fraction of a pixel.

    Returns
    -------
    Round, RoundEdge
        Its support counts only edges within a pixel or so; None where too few are.
    """
    basis = np.stack([np.ones(RAYS), np.cos(read.angle_rad), np.sin(read.angle_rad)], axis=-1)
    fine_mm, rays = _fine(read), np.arange(RAYS)
    found, limit = start, max(1.5 * TOLERANCE * read.radius_mm, LEAST_TOLERANCE_PX / read.px_per_mm)
    for _ in range(FIT_STEPS):
        gap = np.where(read.peak, np.abs(fine_mm - found.offset_mm(read.angle_rad)[:, None]), np.inf)
        at = gap.argmin(axis=1)
        good = gap[rays, at] < limit
        if good.sum() < RAYS // 4:
            return None
        edge_mm = fine_mm[rays, at]
        solution = _robust(basis[good], edge_mm[good], limit)
        residual = np.abs(edge_mm - basis @ solution)
        spread = 1.4826 * float(np.median(residual[good]))
        tight = max(FINE_TOLERANCE * read.radius_mm, FINE_TOLERANCE_PX / read.px_per_mm)
        share = float(np.mean(residual < tight))
        found = Round(solution[1:], float(solution[0]), share, spread * read.px_per_mm)
        limit = max(3 * spread, LEAST_TOLERANCE_PX / read.px_per_mm)
    kept = np.flatnonzero(residual < limit)
    return found, _edge(read, fine_mm, kept, at[kept])


def _edge(read: Profiles, fine_mm: FloatArray, rays: npt.NDArray[np.intp], at: npt.NDArray[np.intp]) -> RoundEdge:
    share = (fine_mm[rays, at] - read.along_mm[at]) / (read.along_mm[1] - read.along_mm[0])
    step_px = read.xy_px[rays, 1] - read.xy_px[rays, 0]
    return RoundEdge(read.xy_px[rays, at] + share[:, None] * step_px, np.sign(read.fall[rays, at]))


def _fine(read: Profiles) -> FloatArray:
    """Return each peak's place (N, M), by a parabola, in mm; off the peaks it means nothing."""
    strength = read.strength
    left, mid, right = strength[:, :-2], strength[:, 1:-1], strength[:, 2:]
    bend = left - 2 * mid + right
    shift = np.zeros(strength.shape)
    shift[:, 1:-1] = np.where(bend < 0, 0.5 * (left - right) / np.where(bend < 0, bend, -1.0), 0.0)
    fine: FloatArray = read.along_mm + np.clip(shift, -1, 1) * (read.along_mm[1] - read.along_mm[0])
    return fine


def _robust(basis: FloatArray, value: FloatArray, core: float) -> FloatArray:
    """Fit a line of harmonics with Geman and McClure's weights."""
    weight = np.ones(len(value))
    solution: FloatArray = np.zeros(basis.shape[1])
    for _ in range(6):
        solution = np.asarray(np.linalg.lstsq(basis * weight[:, None], value * weight, rcond=None)[0])
        gap = value - basis @ solution
        weight = 1.0 / (1.0 + (gap / (0.5 * core)) ** 2)
    return solution
