"""Four-sided patches of one shade in a photo: what a sheet or card is where its sides are too faint to be lines."""

import cv2
import numpy as np

from vision.edges import Image
from vision.measurement import FloatArray
from vision.references.pieces import OPPONENTS

# Shares of the pixels that are darker than the levels at which each shade is parted.
LEVELS = (0.02, 0.05, 0.1, 0.2, 0.35, 0.5, 0.65, 0.8, 0.9, 0.95, 0.98)
# How far corners may lie off the outline, over its length; rounded ones do.
SLACK = 0.02
GRAIN_PX = 5
CORNERS = 4


def patch_corners(bgr: Image, least_px: float) -> FloatArray:
    """Return the corners of the patches (N, 4, 2), in pixels and in turn.

    Parameters
    ----------
    bgr : (H, W, 3) ndarray of uint8
        A reduced photo.
    least_px : float
        Root of the least area.
    """
    found = [np.empty((0, CORNERS, 2))]
    for shade in cv2.split(cv2.transform(cv2.medianBlur(bgr, GRAIN_PX).astype(np.float32), OPPONENTS)):
        for level in np.unique(np.quantile(shade[::4, ::4], LEVELS)):
            found += _quadrilaterals(np.asarray(shade > level).astype(np.uint8), least_px)
    return np.concatenate(found)


def _quadrilaterals(mask: Image, least_px: float) -> list[FloatArray]:
    outlines, _ = cv2.findContours(mask, cv2.RETR_LIST, cv2.CHAIN_APPROX_SIMPLE)
    corners = []
    for outline in outlines:
        if cv2.contourArea(outline) >= least_px**2:
            hull = cv2.convexHull(outline)
            few = cv2.approxPolyDP(hull, SLACK * cv2.arcLength(hull, closed=True), closed=True)
            if len(few) == CORNERS and cv2.contourArea(outline) > 0.85 * cv2.contourArea(few):
                corners.append(few.reshape(1, CORNERS, 2).astype(np.float64))
    return corners
