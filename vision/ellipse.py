"""Ellipses in a photo: where circles may be."""

from dataclasses import dataclass

import cv2
import numpy as np

from vision.edge_drawing import drawn_edges
from vision.edges import Image
from vision.measurement import FloatArray

# Sizes, blurs and least gradients at which edges are drawn: grey iron on grey concrete needs the finer look, gravel and
# a soft photo the coarser one.
LOOKS = ((1200, 0.0, 8), (400, 1.0, 8))


@dataclass(frozen=True)
class Ellipse:
    """An ellipse in pixels.

    Attributes
    ----------
    centre_px : (2,) ndarray
    half_axes_px : (2,) ndarray
        Along and across the direction ``angle_rad``.
    angle_rad : float
    """

    centre_px: FloatArray
    half_axes_px: FloatArray
    angle_rad: float

    @property
    def radius_px(self) -> float:
        """The larger half axis."""
        return float(self.half_axes_px.max())

    @property
    def sine(self) -> float:
        """Sine of the tilt of the circle that looks so, from far away."""
        return float(np.sqrt(1 - (self.half_axes_px.min() / self.half_axes_px.max()) ** 2))

    def points(self, count: int) -> tuple[FloatArray, FloatArray]:
        """Return ``count`` points and outward unit normals, (N, 2) each, at even steps of the eccentric angle."""
        angle = np.arange(count) * (2 * np.pi / count)
        circle = np.stack([np.cos(angle), np.sin(angle)], axis=-1)
        cos, sin = np.cos(self.angle_rad), np.sin(self.angle_rad)
        turn = np.array([[cos, sin], [-sin, cos]])
        normal = (circle / self.half_axes_px) @ turn
        normal /= np.linalg.norm(normal, axis=1)[:, None]
        return self.centre_px + (circle * self.half_axes_px) @ turn, normal

    def grown(self, factor: float) -> "Ellipse":
        """Return the ellipse ``factor`` times as large about its centre."""
        return Ellipse(self.centre_px, self.half_axes_px * factor, self.angle_rad)

    def share(self, xy_px: FloatArray) -> float:
        """Return how far out a point (2,) lies: 0 at the centre, 1 on the ellipse."""
        cos, sin = np.cos(self.angle_rad), np.sin(self.angle_rad)
        along = np.array([[cos, sin], [-sin, cos]]) @ (xy_px - self.centre_px)
        return float(np.linalg.norm(along / self.half_axes_px))

    @classmethod
    def through(cls, xy_px: FloatArray) -> "Ellipse":
        """Fit an ellipse to at least six points, directly (Fitzgibbon's constraint, by OpenCV)."""
        # OpenCV works in float32: keep the numbers small.
        middle, scale = xy_px.mean(axis=0), float(np.abs(xy_px - xy_px.mean(axis=0)).max())
        unit = ((xy_px - middle) / scale).astype(np.float32)
        (x, y), (first, second), degrees = cv2.fitEllipseDirect(unit)
        return cls(np.array([x, y]) * scale + middle, np.array([first, second]) * scale / 2, float(np.radians(degrees)))


def find_ellipses(grey: Image) -> list[Ellipse]:
    """Find ellipses with OpenCV's EdgeDrawing in a reduced photo, largest first.

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
    scale = min(1.0, size_px / max(grey.shape))
    small = cv2.resize(grey, None, fx=scale, fy=scale, interpolation=cv2.INTER_AREA) if scale < 1 else grey
    small = cv2.GaussianBlur(small, (0, 0), blur_px) if blur_px > 0 else small
    detector = drawn_edges(small, gradient)
    found = detector.detectEllipses()
    rows = np.empty((0, 6)) if found is None else np.asarray(found, np.float64).reshape(-1, 6)
    return [_ellipse(row, scale) for row in rows]


def _ellipse(row: FloatArray, scale: float) -> Ellipse:
    """Read a row ``x, y, radius, half axis, half axis, degrees``; circles leave the last three at 0."""
    x, y, radius, first, second, degrees = row
    axes = np.array([radius, radius]) if radius > 0 else np.array([first, second])
    # Pixel centres stand at whole numbers in both sizes.
    centre = (np.array([x, y]) + 0.5) / scale - 0.5
    return Ellipse(centre, axes / scale, float(np.radians(degrees)))
