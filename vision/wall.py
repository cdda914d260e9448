"""The far edge of the rotor's wall: where the camera looks past the rim, it tells the thickness."""

import numpy as np

from vision.band import Band, BoolArray, nearest
from vision.circle_pose import circle
from vision.edges import Image
from vision.figure import EdgeSamples
from vision.measurement import FloatArray
from vision.rim import ANGLES
from vision.scene import Scene

THICKNESS_MM = np.arange(6.0, 42.0, 0.4)
USUAL, LEAST_PART_PX = 40, 1.0
# The far edge counts where it stands so far outside the near one.
LEAST_STEP_PX = 3.0
LEAST_ANGLES = 36
ON_EDGE_PX = 1.1
LEAST_SCORE = 0.5
NEAR_BEST = 0.5
REACH_PX = 1.6
WALL_STD_PX = 0.5
BORDER_PX = 4.0


def find_wall(photo: Image, scene: Scene, noise: float) -> EdgeSamples | None:
    """Sample the far edge of the wall.

    Parameters
    ----------
    photo : (H, W, 3) ndarray of uint8
    scene : Scene
        Fitted to the near rim.
    noise : float
        As `Rim.noise`.

    Returns
    -------
    EdgeSamples or None
        None where the wall is hidden, or no edge runs along it clearly enough.
    """
    steps = outward_px(scene)
    if (steps[-1] > LEAST_STEP_PX).sum() < LEAST_ANGLES:
        return None
    band = _band(photo, scene, float(steps.max()) + BORDER_PX)
    peak = band.peaks(noise)
    scores = np.array([score(peak, step) for step in steps])
    good = (scores > LEAST_SCORE) & (scores > NEAR_BEST * scores.max())
    if not good.any():
        return None
    # Vanes and shadow make lines inside the wall; what counts is the outermost.
    best = int(np.flatnonzero(good)[-1])
    while best > 0 and scores[best - 1] > scores[best]:
        best -= 1
    return _samples(band, peak, steps[best])


def outward_px(scene: Scene) -> FloatArray:
    """Return how far the far edge stands outside the near one, pixels, (T, A), for each of `THICKNESS_MM`.

    Both edges are convex and nearly parallel, so their distance along a normal is the difference of their support
    functions; it is nearly straight in the thickness, so a few thicknesses serve for all.
    """
    foot, normal = rim_curve(scene)
    near = (foot * normal).sum(axis=1)
    knots = np.linspace(THICKNESS_MM[0], THICKNESS_MM[-1], 5)
    far = [scene.to_pixels(circle(scene.rim_radius_mm, ANGLES, -thickness)) for thickness in knots]
    steps = np.stack([(normal @ points.T).max(axis=1) - near for points in far])
    at = np.interp(THICKNESS_MM, knots, np.arange(len(knots)))
    low = np.minimum(at.astype(int), len(knots) - 2)
    share = (at - low)[:, None]
    between: FloatArray = (1 - share) * steps[low] + share * steps[low + 1]
    return between


def is_outline(scene: Scene) -> BoolArray:
    """Tell at which angles (A,) of the rim a wall of usual thickness stays hidden behind it."""
    hidden: BoolArray = outward_px(scene)[USUAL] < LEAST_PART_PX
    return hidden


def rim_curve(scene: Scene) -> tuple[FloatArray, FloatArray]:
    """Return points and outward normals (A, 2) of the rim's picture."""
    foot = scene.to_pixels(circle(scene.rim_radius_mm, ANGLES, -scene.values["chamfer"]))
    out = scene.to_pixels(circle(scene.rim_radius_mm * 1.01, ANGLES, -scene.values["chamfer"])) - foot
    # The picture of a radius is not quite the normal of the circle's picture: turn the tangent instead.
    tangent = np.roll(foot, -1, axis=0) - np.roll(foot, 1, axis=0)
    across = np.stack([tangent[:, 1], -tangent[:, 0]], axis=1)
    across *= np.sign((across * out).sum(axis=1))[:, None]
    return foot, across / np.linalg.norm(across, axis=1)[:, None]


def _band(photo: Image, scene: Scene, reach_px: float) -> Band:
    return Band.along(photo, rim_curve(scene), reach_px, smooth=3.0)


def score(peak: FloatArray, step_px: FloatArray) -> float:
    """Return the share of the angles where the far edge would be seen that have an edge there."""
    seen = step_px > LEAST_STEP_PX
    if seen.sum() < LEAST_ANGLES:
        return 0.0
    return float((np.abs(peak[seen] - step_px[seen, None]) < ON_EDGE_PX).any(axis=1).mean())


def _samples(band: Band, peak: FloatArray, step_px: FloatArray) -> EdgeSamples | None:
    near = nearest(peak, step_px)
    rows = np.flatnonzero((step_px > LEAST_STEP_PX) & (np.abs(near - step_px) < REACH_PX))
    if len(rows) < LEAST_ANGLES:
        return None
    xy = band.foot_px[rows] + near[rows, None] * band.normal_px[rows]
    return EdgeSamples(xy, band.bright_inside(near)[rows], np.full(len(rows), WALL_STD_PX), np.zeros(len(rows), int))
