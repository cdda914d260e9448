"""Straight edges of a flat figure: sampled in the photo to a fraction of a pixel, and fitted by a homography."""

from collections.abc import Sequence
from dataclasses import dataclass
from typing import cast

import numpy as np
import numpy.typing as npt

from vision.edges import Image, offsets_px, profiles, slopes, steepest
from vision.figure import EdgeSamples
from vision.measurement import FloatArray

FIT_STEPS = 8
DERIVATIVE_STEP = 1e-6
CONVERGED = 1e-6
# Robust core of the homography's fit and the spread of samples that count as good, px.
CORE_PX = 0.5
LEAST_STD_PX = 0.03
BLOOM_STD_PX = 1.0


@dataclass(frozen=True)
class Stretch:
    """Pieces of straight edges of a figure: where to look for them.

    Attributes
    ----------
    xy_mm : (N, 2) ndarray
        Feet on the edges, in the figure's frame: x to the right and y upward as the camera sees it.
    side : (N,) ndarray of int
        Which line of the figure each foot is on.
    bright_inside : (N,) ndarray
        +1 where the side's inside (below ``a x + b y = c``) is the brighter, -1 where the outside is, 0 unknown.
    """

    xy_mm: FloatArray
    side: npt.NDArray[np.intp]
    bright_inside: FloatArray


def edge_samples(
    xy_px: FloatArray, bright_inside: FloatArray, std_px: FloatArray, side: npt.NDArray[np.intp]
) -> EdgeSamples:
    """Return samples with ``side`` as the whole numbers they are."""
    return EdgeSamples(xy_px, bright_inside, std_px, cast("FloatArray", side))


def to_pixels(homography: FloatArray, xy_mm: FloatArray) -> FloatArray:
    """Carry points (N, 2) through a homography (3, 3)."""
    lifted = xy_mm @ homography[:, :2].T + homography[:, 2]
    carried: FloatArray = lifted[:, :2] / lifted[:, 2:]
    return carried


def px_per_mm(homography: FloatArray) -> float:
    """Return the scale at a figure's middle."""
    left, right = to_pixels(homography, np.array([[-0.5, 0.0], [0.5, 0.0]]))
    return float(np.linalg.norm(right - left))


def outward_px(homography: FloatArray, stretch: Stretch, sides: FloatArray) -> FloatArray:
    """Return the unit normals (N, 2) in pixels at each foot, on the outer side of its line."""
    normal_mm = sides[stretch.side, :2]
    tangent_mm = np.stack([-normal_mm[:, 1], normal_mm[:, 0]], axis=-1)
    here = to_pixels(homography, stretch.xy_mm)
    along = to_pixels(homography, stretch.xy_mm + 0.01 * tangent_mm) - here
    outward = to_pixels(homography, stretch.xy_mm + 0.01 * normal_mm) - here
    normal = np.stack([along[:, 1], -along[:, 0]], axis=-1)
    normal *= np.sign(np.einsum("ni,ni->n", normal, outward))[:, None]
    unit: FloatArray = normal / np.linalg.norm(normal, axis=1, keepdims=True)
    return unit


def sample_sides(
    image: Image, homography: FloatArray, stretch: Stretch, sides: FloatArray, *, reach_px: float, blur_px: float = 1.0
) -> tuple[EdgeSamples, FloatArray]:
    """Find each foot's edge in the photo.

    Parameters
    ----------
    image : (H, W) ndarray
        One channel.
    homography : (3, 3) ndarray
        From the figure's frame (mm) to pixels, right to within ``reach_px``.
    stretch : Stretch
    sides : (S, 3) ndarray
        The figure's lines.
    reach_px : float
        How far to look to either side.
    blur_px : float
        Smoothing of the profiles before their slope is taken.

    Returns
    -------
    EdgeSamples
        One for each foot; ``xy_px`` is NaN where no edge of the wanted direction was found inside the reach.
    (N,) ndarray
        Steepness there, levels per pixel, positive.
    """
    feet, normal = to_pixels(homography, stretch.xy_mm), outward_px(homography, stretch, sides)
    along = offsets_px(reach_px)
    slope = slopes(profiles(image, feet, normal, along), along, blur_px)
    # Bright inside falls outward. An unknown direction takes the steepest of either sign.
    wanted = -stretch.bright_inside
    offset, strength = steepest(np.where(wanted[:, None] == 0, np.abs(slope), slope * wanted[:, None]), along, 1.0)
    xy_px = feet + offset[:, None] * normal
    height, width = image.shape[:2]
    inside = (xy_px >= 0).all(axis=1) & (xy_px[:, 0] <= width - 1) & (xy_px[:, 1] <= height - 1)
    xy_px = np.where(inside[:, None], xy_px, np.nan)
    signed = slope[np.arange(len(slope)), np.abs(along[None, :] - offset[:, None]).argmin(axis=1)]
    bright = np.where(wanted == 0, -np.sign(signed), stretch.bright_inside)
    return edge_samples(xy_px, bright, np.ones(len(xy_px)), stretch.side), np.maximum(strength, 0.0)


def chosen(samples: EdgeSamples, keep: npt.NDArray[np.bool_]) -> EdgeSamples:
    """Return those samples for which ``keep`` holds."""
    return EdgeSamples(samples.xy_px[keep], samples.bright_inside[keep], samples.std_px[keep], samples.side[keep])


@dataclass(frozen=True)
class SidesFit:
    """A homography fitted to samples.

    Attributes
    ----------
    homography : (3, 3) ndarray
        From the figure's frame (mm) to pixels.
    bloom_px : (G,) ndarray
        How far bright parts have grown, for each group of lines.
    residual_px : (N,) ndarray
        How far outside its line each sample lies, bloom taken off.
    lines_px : (S, 3) ndarray
        The figure's lines in the picture, ``(a, b)`` pointing outward.
    """

    homography: FloatArray
    bloom_px: FloatArray
    residual_px: FloatArray
    lines_px: FloatArray

    @property
    def spread_px(self) -> float:
        """A robust standard deviation of the residuals."""
        return float(1.4826 * np.median(np.abs(self.residual_px))) if len(self.residual_px) else np.inf


def fit_sides(
    samples: EdgeSamples,
    sides: FloatArray,
    start: FloatArray,
    *,
    core_px: float = CORE_PX,
    bloom_groups: Sequence[int] | None = None,
) -> SidesFit:
    """Fit a homography, and bloom, to samples on a figure's lines.

    Parameters
    ----------
    samples : EdgeSamples
        Finite; they need not be on every side: what they leave open stays as in ``start``.
    sides : (S, 3) ndarray
    start : (3, 3) ndarray
    core_px : float
        Residuals well beyond this lose their weight.
    bloom_groups : sequence of int, optional
        For each line the bloom it shares, from 0; a shaken camera blurs edges across its motion more than along it.
        Left out, no bloom is fitted: a figure without edges of both directions can hardly tell it from its size.

    Returns
    -------
    SidesFit

    Notes
    -----
    Gauss-Newton over small changes of the eight ratios, in units of the figure's size, with Geman and McClure's
    weights. A weak pull to the start keeps open directions still.
    """
    scale = np.diag([np.abs(sides[:, 2]).max()] * 2 + [1.0])
    start = start @ scale / start[2, 2]
    line = samples.side.astype(np.intp)
    shares = _bloom_shares(samples, bloom_groups)
    change, bloom_px = np.zeros(8), np.zeros(shares.shape[1])
    pull = np.diag([1e-6 * len(samples)] * 8 + [(core_px / BLOOM_STD_PX) ** 2] * shares.shape[1])
    lines = sides * np.array([1.0, 1.0, -1.0]) @ scale
    lifted = np.column_stack([samples.xy_px, np.ones(len(line))])
    for _ in range(FIT_STEPS):
        away, slope = _away_px(lifted, line, lines, (start, change))
        slope = np.column_stack([slope, -shares])
        gap = away - shares @ bloom_px
        core = max(core_px, 1.4826 * float(np.median(np.abs(gap))))
        weight = 1.0 / (1.0 + (gap / core) ** 2) ** 2
        force = slope.T @ (weight * gap) + pull[:, 8:] @ bloom_px
        step = -np.linalg.solve(slope.T @ (weight[:, None] * slope) + pull, force)
        change, bloom_px = change + step[:8], bloom_px + step[8:]
        if np.abs(step).max() < CONVERGED:
            break
    away, _ = _away_px(lifted, line, lines, (start, change))
    homography = _changed(start, change) @ np.linalg.inv(scale)
    return SidesFit(homography / homography[2, 2], bloom_px, away - shares @ bloom_px, lines_px(sides, homography))


def lines_px(sides: FloatArray, homography: FloatArray) -> FloatArray:
    """Return a figure's lines (S, 3) in the picture, ``a x + b y + c = 0``, ``(a, b)`` pointing outward."""
    lines: FloatArray = sides * np.array([1.0, 1.0, -1.0]) @ np.linalg.inv(homography / homography[2, 2])
    return lines


def _bloom_shares(samples: EdgeSamples, groups: Sequence[int] | None) -> FloatArray:
    """Return how far outside its line each sample moves for a pixel of each group's bloom, (N, G)."""
    if groups is None:
        return np.zeros((len(samples), 0))
    shares: FloatArray = np.eye(max(groups) + 1)[np.array(groups)[samples.side.astype(np.intp)]]
    return shares * samples.bright_inside[:, None]


def _changed(start: FloatArray, change: FloatArray) -> FloatArray:
    """Return the homographies (..., 3, 3) that small changes (..., 8) make of the start."""
    last = np.zeros((*change.shape[:-1], 1))
    changed: FloatArray = start @ (
        np.eye(3) + np.concatenate([change, last], axis=-1).reshape(*change.shape[:-1], 3, 3)
    )
    return changed


def _away_px(
    lifted: FloatArray, line: npt.NDArray[np.intp], lines: FloatArray, at: tuple[FloatArray, FloatArray]
) -> tuple[FloatArray, FloatArray]:
    """Return distances (N,) outside the lines in pixels, and their slopes (N, 8) by the eight changes."""
    start, change = at
    trials = change + np.vstack([np.zeros(8), DERIVATIVE_STEP * np.eye(8)])
    seen = lines @ np.linalg.inv(_changed(start, trials))
    seen /= np.hypot(seen[..., 0], seen[..., 1])[..., None]
    away = (seen[:, line] * lifted).sum(axis=2)
    return away[0], (away[1:] - away[0]).T / DERIVATIVE_STEP
