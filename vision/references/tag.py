"""The printed face tags: found as AprilTags, measured by every edge between their black and white cells."""

from functools import cache

import cv2
import numpy as np
import numpy.typing as npt

from vision.edges import Image
from vision.figure import EdgeSamples, Figure, Sighting
from vision.measurement import FloatArray
from vision.references.parse import Reference
from vision.references.sides import (
    LEAST_STD_PX,
    SidesFit,
    Stretch,
    chosen,
    edge_samples,
    fit_sides,
    sample_sides,
    to_pixels,
)
from vision.shrink import shrunk

CELLS = 8
# Detection runs on a reduced photo; a named tag that isn't found there is looked for once more on a larger one,
# and with a corner hidden: the square's outline may then be far from one, since the cells' edges decide in the end.
# At last the photo's contrast is raised from place to place: beside a hat nearly as dark, a tag's black runs into it.
SEARCH_SIDE_PX = (1100, 2200, 2200)
# Windows of thresholding: least, most and step; how much darker than its surroundings black is, levels.
WINDOWS_PX = ((17, 17, 20), (5, 53, 8), (5, 53, 8))
DARKER_LEVELS = (7.0, 7.0, 12.0)
OUTLINE_SLACK = (0.04, 0.07, 0.07)
BIT_SLACK = (0.6, 1.0, 1.0)
RAISED, MOST_RAISED, PLACES = 2, 4.0, (16, 16)
FEET_PER_CELL = 5
# Feet keep away from a cell's corners, where the blur of the crossing edge reaches.
CELL_MARGIN = 0.22
REACH_CELLS = (0.45, 0.35, 0.25)
LEAST_REACH_PX = 1.5
GOOD_PX = 0.6
# A tag whose cells are smaller than this can't be sampled: neighbouring edges blur into one.
LEAST_CELL_PX = 3.0
GOOD_SHARE = 0.7
MAX_SPREAD_PX = 0.5
# Nine lines across the tag's x, then nine across its y.
BLOOM_GROUPS = [0] * (CELLS + 1) + [1] * (CELLS + 1)


@cache
def _dictionary() -> cv2.aruco.Dictionary:
    return cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)


@cache
def _detector(effort: int) -> cv2.aruco.ArucoDetector:
    settings = cv2.aruco.DetectorParameters()
    # One pass of thresholding at a window that suits tags of 20 to 200 px, many for a second look: a shadow's edge
    # across a tag needs small ones. Finer corners are ours to find.
    (
        settings.adaptiveThreshWinSizeMin,
        settings.adaptiveThreshWinSizeMax,
        settings.adaptiveThreshWinSizeStep,
    ) = WINDOWS_PX[effort]
    settings.adaptiveThreshConstant = DARKER_LEVELS[effort]
    settings.minMarkerPerimeterRate = 0.02
    settings.polygonalApproxAccuracyRate = OUTLINE_SLACK[effort]
    settings.errorCorrectionRate = BIT_SLACK[effort]
    return cv2.aruco.ArucoDetector(_dictionary(), settings)


def find_tags(grey: Image, reference: Reference, *, thorough: bool = True) -> list[Sighting]:
    """Find the face tags in a photo.

    Parameters
    ----------
    grey : (H, W) ndarray of uint8
    reference : Reference
        Of the family ``tag``.
    thorough : bool
        Look again at a larger scale, and with more contrast, when none shows at the first.

    Returns
    -------
    list of Sighting
        Of any id in the family, largest first.
    """
    for effort in range(len(SEARCH_SIDE_PX) if thorough else 1):
        found = [measure_tag(grey, *tag, reference) for tag in detect_tags(grey, effort)]
        sightings = sorted((s for s in found if s is not None), key=_extent_px, reverse=True)
        if sightings:
            return sightings
    return []


def detect_tags(grey: Image, effort: int = 0) -> list[tuple[int, FloatArray]]:
    """Detect AprilTags of the family 36h11, roughly.

    Parameters
    ----------
    grey : (H, W) ndarray of uint8
    effort : {0, 1, 2}
        1 looks at a larger scale and allows for a hidden corner, 2 raises the contrast too.

    Returns
    -------
    list of (int, (4, 2) ndarray)
        Id, and the black square's corners ``(x, y)`` in the photo's pixels: top left, then clockwise on the tag.
    """
    small = shrunk(grey, max(grey.shape) / SEARCH_SIDE_PX[effort])
    if effort == RAISED:
        small = np.asarray(cv2.createCLAHE(MOST_RAISED, PLACES).apply(small))
    corners, ids, _ = _detector(effort).detectMarkers(small)
    if ids is None:
        return []
    stretch = np.array([grey.shape[1] / small.shape[1], grey.shape[0] / small.shape[0]])
    # Pixel centres are whole numbers at both sizes.
    return [
        (int(number), (np.asarray(square, np.float64).reshape(4, 2) + 0.5) * stretch - 0.5)
        for number, square in zip(np.ravel(ids), corners, strict=True)
    ]


def measure_tag(grey: Image, number: int, corners_px: FloatArray, reference: Reference) -> Sighting | None:
    """Sample a tag's edges and fit them.

    Parameters
    ----------
    grey : (H, W) ndarray of uint8
    number : int
        Id within the family.
    corners_px : (4, 2) ndarray
        The black square's corners as `detect_tags` gives them.
    reference : Reference

    Returns
    -------
    Sighting or None
        None where the cells are too small, or too few edges are where they should be.
    """
    side_mm = reference.size_mm[0]
    square_mm = side_mm / 2 * np.array([[-1.0, 1.0], [1.0, 1.0], [1.0, -1.0], [-1.0, -1.0]])
    pose = cv2.getPerspectiveTransform(square_mm.astype(np.float32), corners_px.astype(np.float32))
    sides, stretch = tag_lines(side_mm), tag_stretch(number, side_mm)
    cell_px = float(np.linalg.norm(corners_px - np.roll(corners_px, 1, axis=0), axis=1).min()) / CELLS
    if cell_px < LEAST_CELL_PX:
        return None
    fit, samples = _refined(grey, np.asarray(pose, np.float64), stretch, sides, cell_px)
    good = np.abs(fit.residual_px) < max(GOOD_PX, 3 * fit.spread_px)
    share = float(good.sum()) / len(stretch.side)
    if share < GOOD_SHARE or fit.spread_px > MAX_SPREAD_PX:
        return None
    kept = _one_bloom(chosen(samples, good), fit, max(LEAST_STD_PX, fit.spread_px))
    figure = Figure(
        f"tag {number}", sides, None, reference.size_std, reference.thickness_mm, reference.thickness_std_mm
    )
    return Sighting(figure, kept, to_pixels(fit.homography, square_mm), fit.homography, share)


def _refined(
    grey: Image, pose: FloatArray, stretch: Stretch, sides: FloatArray, cell_px: float
) -> tuple[SidesFit, EdgeSamples]:
    """Sample and fit again and again, each time nearer to the edges."""
    for reach in REACH_CELLS:
        reach_px = max(LEAST_REACH_PX, reach * cell_px)
        samples, _ = sample_sides(grey, pose, stretch, sides, reach_px=reach_px, blur_px=min(1.0, cell_px / 6))
        samples = chosen(samples, np.isfinite(samples.xy_px[:, 0]))
        if len(samples) < len(stretch.side) // 2:
            return SidesFit(pose, np.zeros(2), np.full(len(samples), np.inf), sides), samples
        fit = fit_sides(samples, sides, pose, bloom_groups=BLOOM_GROUPS)
        pose = fit.homography
    return fit, samples


def _one_bloom(samples: EdgeSamples, fit: SidesFit, std_px: float) -> EdgeSamples:
    """Move samples along their normals so that edges across and along a shaken camera's motion share one bloom."""
    line = samples.side.astype(np.intp)
    lines = fit.lines_px[line]
    normal = lines[:, :2] / np.hypot(*lines[:, :2].T)[:, None]
    surplus = (fit.bloom_px - fit.bloom_px.mean())[np.array(BLOOM_GROUPS)[line]]
    xy_px = samples.xy_px - (samples.bright_inside * surplus)[:, None] * normal
    return edge_samples(xy_px, samples.bright_inside, np.full(len(line), std_px), line)


def tag_lines(side_mm: float) -> FloatArray:
    """Return the lines (18, 3) between a tag's cells: nine at constant x from left to right, nine at constant y."""
    at = (np.arange(CELLS + 1) / CELLS - 0.5) * side_mm
    one, none = np.ones_like(at), np.zeros_like(at)
    return np.vstack([np.stack([one, none, at], axis=-1), np.stack([none, one, at], axis=-1)])


@cache
def tag_cells(number: int) -> npt.NDArray[np.bool_]:
    """Return which cells (10, 10) of a tag are white, its white margin included; row 0 at the top."""
    picture = _dictionary().generateImageMarker(number, CELLS)
    return np.pad(np.asarray(picture) > 127, 1, constant_values=True)


def tag_stretch(number: int, side_mm: float) -> Stretch:
    """Return the feet on every edge between a black and a white cell of a tag."""
    upward = tag_cells(number)[::-1]
    across = _feet(upward, side_mm)
    along = _feet(upward.T, side_mm)
    return Stretch(
        np.vstack([across.xy_mm, along.xy_mm[:, ::-1]]),
        np.concatenate([across.side, along.side + CELLS + 1]),
        np.concatenate([across.bright_inside, along.bright_inside]),
    )


def _feet(white: npt.NDArray[np.bool_], side_mm: float) -> Stretch:
    """Return the feet on the edges at constant x; rows of ``white`` run upward."""
    rows, columns = np.nonzero(white[1:-1, 1:] != white[1:-1, :-1])
    share = np.linspace(CELL_MARGIN, 1 - CELL_MARGIN, FEET_PER_CELL)
    y = ((rows[:, None] + share) / CELLS - 0.5) * side_mm
    x = np.repeat(columns / CELLS - 0.5, FEET_PER_CELL) * side_mm
    bright = np.where(white[rows + 1, columns], 1.0, -1.0)
    return Stretch(
        np.stack([x, y.ravel()], axis=-1), np.repeat(columns, FEET_PER_CELL), np.repeat(bright, FEET_PER_CELL)
    )


def _extent_px(sighting: Sighting) -> float:
    return float(np.linalg.norm(sighting.corners_px[0] - sighting.corners_px[2]))
