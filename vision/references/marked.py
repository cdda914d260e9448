"""A reference whose corners, or points on whose edge, a person set."""

import cv2
import numpy as np

from vision.ellipse import Ellipse
from vision.figure import Sighting, rectangle
from vision.measurement import FloatArray
from vision.references.coin import coin_figure
from vision.references.lying import rectangle_figure
from vision.references.parse import Reference
from vision.references.points import MARK_STD_PX
from vision.references.sides import edge_samples

CORNERS = 4
# A circle needs as many points as its ellipse, and one to spare.
LEAST_POINTS = 6


def place_marks(reference: Reference, xy_px: FloatArray) -> list[Sighting]:
    """Turn marks into sightings.

    Parameters
    ----------
    reference : Reference
        A card, a sheet or tags, marked by the four corners of each in order round it; or a coin, by points on its edge.
    xy_px : (N, 2) ndarray

    Returns
    -------
    list of Sighting
        Empty where the marks are too few for such a reference, or the reference is of another kind.
    """
    if reference.family == "coin":
        return [_round(reference, xy_px)] if len(xy_px) >= LEAST_POINTS else []
    if reference.family not in ("card", "sheet", "tag") or len(xy_px) % CORNERS:
        return []
    return [_cornered(reference, corners) for corners in xy_px.reshape(-1, CORNERS, 2)]


def _cornered(reference: Reference, corners_px: FloatArray) -> Sighting:
    long_mm, short_mm = max(reference.size_mm), min(reference.size_mm)
    # Seen from above, the figure's y points up in the picture.
    if _area(corners_px) > 0:
        corners_px = corners_px[::-1]
    lengths = np.linalg.norm(np.roll(corners_px, -1, axis=0) - corners_px, axis=1)
    if lengths[0] + lengths[2] < lengths[1] + lengths[3]:
        corners_px = np.roll(corners_px, -1, axis=0)
    corners_mm = np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]]) * np.array([long_mm, short_mm]) / 2
    pose = cv2.getPerspectiveTransform(corners_mm.astype(np.float32), corners_px.astype(np.float32))
    figure = rectangle_figure(reference, rectangle(long_mm, short_mm))
    # Right, bottom, left and top, each by the corners at its ends.
    ends = np.array([[1, 2], [2, 3], [3, 0], [0, 1]])
    xy_px, side = corners_px[ends].reshape(-1, 2), np.repeat(np.arange(CORNERS), 2)
    samples = edge_samples(xy_px, np.zeros(len(side)), np.full(len(side), MARK_STD_PX), side)
    return Sighting(figure, samples, corners_px, pose.astype(np.float64), 1.0)


def _area(corners_px: FloatArray) -> float:
    (x, y), (next_x, next_y) = corners_px.T, np.roll(corners_px, -1, axis=0).T
    return float((x * next_y - next_x * y).sum() / 2)


def _round(reference: Reference, xy_px: FloatArray) -> Sighting:
    figure = coin_figure(reference)
    seen = Ellipse.through(xy_px)
    scale = float(seen.half_axes_px.mean()) / (reference.size_mm[0] / 2)
    pose = np.array([[scale, 0, seen.centre_px[0]], [0, -scale, seen.centre_px[1]], [0, 0, 1.0]])
    count = len(xy_px)
    samples = edge_samples(xy_px, np.zeros(count), np.full(count, MARK_STD_PX), np.zeros(count, np.intp))
    return Sighting(figure, samples, xy_px, pose, 1.0)
