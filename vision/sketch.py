"""What EdgeDrawing draws of a photo: ellipses, where circles may be, and the points of its edges."""

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import cv2
import numpy as np

from vision.edge_drawing import drawn_edges
from vision.edge_points import EdgePoints
from vision.edges import Image
from vision.ellipse import Ellipse
from vision.measurement import FloatArray

# Sizes, blurs and least gradients at which edges are drawn: grey iron on grey concrete needs the finer look, gravel and
# a soft photo the coarser one.
LOOKS = ((1200, 0.0, 8), (400, 1.0, 8))


@dataclass(frozen=True)
class Sketch:
    """A photo's edges.

    Attributes
    ----------
    ellipses : list of Ellipse
        Largest first.
    drawing : EdgeDrawing
        The finest look, in a photo made ``scale`` times as large.
    scale : float
    """

    ellipses: list[Ellipse]
    drawing: Any
    scale: float

    @cached_property
    def points(self) -> EdgePoints:
        """The points of the finest look's edges: most photos do without."""
        return EdgePoints.of([np.asarray(chain).reshape(-1, 2) for chain in self.drawing.getSegments()], self.scale)


def sketch(grey: Image) -> Sketch:
    """Draw the edges of a reduced photo with OpenCV's EdgeDrawing.

    Parameters
    ----------
    grey : (H, W) ndarray of uint8

    References
    ----------
    C. Akinlar, C. Topal, "EDCircles: A real-time circle detector with a false detection control", 2013.
    """
    looks = [_look(grey, *look) for look in LOOKS]
    ellipses = [ellipse for look in looks for ellipse in look.ellipses]
    return replace(looks[0], ellipses=sorted(ellipses, key=lambda ellipse: -ellipse.radius_px))


def _look(grey: Image, size_px: int, blur_px: float, gradient: int) -> Sketch:
    scale = min(1.0, size_px / max(grey.shape))
    small = cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA) if scale < 1 else grey
    small = cv2.GaussianBlur(small, (0, 0), blur_px) if blur_px > 0 else small
    detector = drawn_edges(small, gradient)
    found = detector.detectEllipses()
    rows = np.empty((0, 6)) if found is None else np.asarray(found, np.float64).reshape(-1, 6)
    return Sketch([_ellipse(row, scale) for row in rows], detector, scale)


def _ellipse(row: FloatArray, scale: float) -> Ellipse:
    """Read a row ``x, y, radius, half axis, half axis, degrees``; circles leave the last three at 0."""
    x, y, radius, first, second, degrees = row
    axes = np.array([radius, radius]) if radius > 0 else np.array([first, second])
    # Pixel centres stand at whole numbers in both sizes.
    centre = (np.array([x, y]) + 0.5) / scale - 0.5
    return Ellipse(centre, axes / scale, float(np.radians(degrees)))
