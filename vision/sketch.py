"""The ellipses that EdgeDrawing finds in a photo: where circles may be."""

import cv2
import numpy as np

from vision.edge_drawing import drawn_edges
from vision.edges import Image
from vision.ellipse import Ellipse
from vision.measurement import FloatArray
from vision.shrink import shrunk

# Sizes, blurs and least gradients at which edges are drawn: grey iron on grey concrete needs the finer look, gravel and
# a soft photo the coarser one.
LOOKS = ((1200, 0.0, 8), (400, 1.0, 8))


def sketched_ellipses(grey: Image) -> list[Ellipse]:
    """Find ellipses, the largest first, in a reduced photo with OpenCV's EdgeDrawing.

    Parameters
    ----------
    grey : (H, W) ndarray of uint8

    References
    ----------
    C. Akinlar, C. Topal, "EDCircles: A real-time circle detector with a false detection control", 2013.
    """
    ellipses = [ellipse for look in LOOKS for ellipse in _look(grey, *look)]
    return sorted(ellipses, key=lambda ellipse: -ellipse.radius_px)


def _look(grey: Image, size_px: int, blur_px: float, gradient: int) -> list[Ellipse]:
    shrink = max(1.0, max(grey.shape) / size_px)
    small = shrunk(grey, shrink)
    small = cv2.GaussianBlur(small, (0, 0), blur_px) if blur_px > 0 else small
    found = drawn_edges(small, gradient).detectEllipses()
    rows = np.empty((0, 6)) if found is None else np.asarray(found, np.float64).reshape(-1, 6)
    return [_ellipse(row, shrink) for row in rows]


def _ellipse(row: FloatArray, shrink: float) -> Ellipse:
    """Read a row ``x, y, radius, half axis, half axis, degrees``; circles leave the last three at 0."""
    x, y, radius, first, second, degrees = row
    axes = np.array([radius, radius]) if radius > 0 else np.array([first, second])
    # Pixel centres stand at whole numbers in both sizes.
    centre = shrink * (np.array([x, y]) + 0.5) - 0.5
    return Ellipse(centre, shrink * axes, float(np.radians(degrees)))
