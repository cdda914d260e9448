"""A straight-sided outline in colour, to a fraction of a pixel: whatever its print, on whatever it lies."""

import numpy as np
import numpy.typing as npt

from vision.edges import Image, offsets_px, profiles, slopes, steepest
from vision.figure import EdgeSamples
from vision.measurement import FloatArray
from vision.references.sides import (
    LEAST_STD_PX,
    SidesFit,
    Stretch,
    chosen,
    edge_samples,
    fit_sides,
    outward_px,
    to_pixels,
)

# Brightness counts by these shares of blue, green and red.
LIGHT = np.array([0.114, 0.587, 0.299])
BESIDE_PX = (2.0, 6.0)
SMOOTH_FEET = 5
# An edge weaker than this (levels per pixel) is noise.
LEAST_SLOPE = 1.0


def outline_feet(corners_mm: FloatArray, count: int, corner_mm: float) -> Stretch:
    """Return feet along the sides of a polygon, its corners left out.

    Parameters
    ----------
    corners_mm : (S, 2) ndarray
        In the order in which side ``i`` runs from corner ``i`` to ``i + 1``.
    count : int
        Feet on each side.
    corner_mm : float
        How much of each end to leave out.
    """
    ends = np.roll(corners_mm, -1, axis=0)
    length = np.linalg.norm(ends - corners_mm, axis=1)
    share = (np.arange(count) + 0.5) / count
    margin = np.minimum(corner_mm / length, 0.4)
    along = margin[:, None] + (1 - 2 * margin[:, None]) * share
    feet = corners_mm[:, None] + along[..., None] * (ends - corners_mm)[:, None]
    side = np.repeat(np.arange(len(corners_mm)), count)
    return Stretch(feet.reshape(-1, 2), side, np.zeros(len(side)))


def sample_outline(
    bgr: Image, homography: FloatArray, stretch: Stretch, sides: FloatArray, *, reach_px: float, blur_px: float = 1.0
) -> tuple[EdgeSamples, FloatArray]:
    """Find the edge at each foot along the colour in which inside and outside differ most there.

    Parameters
    ----------
    bgr : (H, W, 3) ndarray of uint8
    homography : (3, 3) ndarray
        From the figure's frame (mm) to pixels.
    stretch, sides
        Feet, and the figure's lines.
    reach_px : float
    blur_px : float

    Returns
    -------
    EdgeSamples
        One for each foot; NaN where there is no edge.
    (N,) ndarray
        Contrast there, levels per pixel.
    """
    feet, normal = to_pixels(homography, stretch.xy_mm), outward_px(homography, stretch, sides)
    along = offsets_px(reach_px + BESIDE_PX[1])
    colours = profiles(bgr, feet, normal, along)
    step = _colour_step(colours, along, stretch.side)
    direction: FloatArray = step / np.maximum(np.linalg.norm(step, axis=1, keepdims=True), 1e-9)
    level = np.einsum("nmc,nc->nm", colours, direction)
    near = np.abs(along) <= reach_px
    offset, strength = steepest(slopes(level, along, blur_px)[:, near], along[near], 1.0)
    xy_px = feet + np.where(strength > LEAST_SLOPE, offset, np.nan)[:, None] * normal
    height, width = bgr.shape[:2]
    framed = (xy_px > 1).all(axis=1) & (xy_px[:, 0] < width - 2) & (xy_px[:, 1] < height - 2)
    xy_px = np.where(framed[:, None], xy_px, np.nan)
    bright_inside: FloatArray = -np.sign(step @ LIGHT)
    return edge_samples(xy_px, bright_inside, np.ones(len(feet)), stretch.side), strength


def _colour_step(colours: FloatArray, along: FloatArray, side: npt.NDArray[np.intp]) -> FloatArray:
    """Return outside minus inside colour (N, 3) at each foot, smoothed along its side."""
    outside = (along >= BESIDE_PX[0]) & (along <= BESIDE_PX[1])
    step: FloatArray = colours[:, outside].mean(axis=1) - colours[:, outside[::-1]].mean(axis=1)
    kernel = np.ones(SMOOTH_FEET) / SMOOTH_FEET
    for number in np.unique(side):
        own = side == number
        padded = np.pad(step[own], ((SMOOTH_FEET // 2, SMOOTH_FEET // 2), (0, 0)), mode="edge")
        step[own] = np.stack([np.convolve(padded[:, c], kernel, mode="valid") for c in range(3)], axis=-1)
    return step


def refine_outline(
    bgr: Image, start: FloatArray, stretch: Stretch, sides: FloatArray, reaches_px: tuple[float, ...]
) -> tuple[SidesFit, EdgeSamples] | None:
    """Sample and fit, each time with a shorter reach.

    Returns
    -------
    SidesFit, EdgeSamples
        The last fit and its samples; None where too few edges were found for a fit.
    """
    homography, found = start, None
    for reach_px in reaches_px:
        samples, _ = sample_outline(bgr, homography, stretch, sides, reach_px=reach_px)
        samples = chosen(samples, np.isfinite(samples.xy_px[:, 0]))
        if len(samples) < len(stretch.side) // 4 or len(np.unique(samples.side)) < min(3, len(sides)):
            return None
        fit = fit_sides(samples, sides, homography, core_px=max(0.5, reach_px / 6))
        homography, found = fit.homography, (fit, samples)
    return found


def settled(fit: SidesFit, samples: EdgeSamples, limit_px: float) -> EdgeSamples:
    """Return the samples within ``limit_px`` of their lines, each with its side's own spread as its deviation."""
    good = np.abs(fit.residual_px) < limit_px
    kept, residual = chosen(samples, good), fit.residual_px[good]
    line = kept.side.astype(np.intp)
    std_px = np.zeros(len(line))
    for number in np.unique(line):
        own = line == number
        std_px[own] = max(LEAST_STD_PX, 1.4826 * float(np.median(np.abs(residual[own]))))
    return edge_samples(kept.xy_px, kept.bright_inside, std_px, line)
