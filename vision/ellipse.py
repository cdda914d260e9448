"""An ellipse: how a circle looks from aside."""

from dataclasses import dataclass

import cv2
import numpy as np

from vision.measurement import FloatArray


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
