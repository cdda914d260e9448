"""A camera that looks along the rotor's plane, and the outer cylinder it sees.

The rotor's frame has its z axis along the rotor's own, toward the upper side of the picture, and its x axis toward
the camera, which stands at ``(away_mm, 0, 0)``: heights are counted from the plane through the camera. The y axis
then points to the right of the picture.
"""

from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np

from vision.camera import Camera
from vision.measurement import FloatArray
from vision.ring import Map

# Direction from the axis toward the camera.
TOWARD = np.array([1.0, 0.0, 0.0])
# Columns: where the rotor's axes lie in the camera's frame (x right, y down, z forward) when nothing is turned.
LEVEL = np.array([[0.0, 1.0, 0.0], [0.0, 0.0, -1.0], [-1.0, 0.0, 0.0]])


@dataclass(frozen=True, eq=False)
class Along:
    """Where the camera stands to the outer cylinder.

    Attributes
    ----------
    camera : Camera
    roll_rad, pitch_rad, yaw_rad : float or (B, 1) ndarray
        The rotor's turn in the camera's frame about its z, x and y axes, in this order from the left. For a batch of
        trial places these and all other numbers are arrays of this shape.
    away_mm : float or (B, 1) ndarray
        Distance of the camera from the rotor's axis.
    radius_mm : float or (B, 1) ndarray
        Of the outer cylinder; nominal where no scale is known.
    """

    camera: Camera
    roll_rad: Any
    pitch_rad: Any
    yaw_rad: Any
    away_mm: Any
    radius_mm: Any

    @cached_property
    def rotation(self) -> FloatArray:
        """The rotor's axes in the camera's frame, as columns."""
        angles = np.stack(np.broadcast_arrays(self.roll_rad, self.pitch_rad, self.yaw_rad))
        (cr, cp, cy), (sr, sp, sy) = np.cos(angles), np.sin(angles)
        turn = np.array(
            [
                [cr * cy - sr * sp * sy, -sr * cp, cr * sy + sr * sp * cy],
                [sr * cy + cr * sp * sy, cr * cp, sr * sy - cr * sp * cy],
                [-cp * sy, sp, cp * cy],
            ]
        )
        # A batch's axis comes last so far, (3, 3, B, 1).
        turned: FloatArray = (turn if turn.ndim == 2 else np.moveaxis(turn[..., 0], -1, 0)) @ LEVEL
        return turned

    def rays(self, xy_px: FloatArray) -> FloatArray:
        """Return directions (N, 3) in the rotor's frame of the rays through pixels (N, 2)."""
        x, y = self.camera.rays(xy_px)
        directions: FloatArray = np.stack([x, y, np.ones_like(x)], axis=-1) @ self.rotation
        return directions

    def on_cylinder(
        self, xy_px: FloatArray, radius_mm: FloatArray | float
    ) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Meet rays with the near side of a cylinder round the axis; those that pass it by touch it instead.

        Returns
        -------
        angle_rad, z_mm, px_per_mm : (N,) or (B, N) ndarray
            Angle from the nearest generator, height above the camera's plane, and the scale there.
        """
        ray = self.rays(xy_px)
        along = self._depth(ray, radius_mm)
        x, y = self.away_mm + along * ray[..., 0], along * ray[..., 1]
        return np.arctan2(y, x), *self.heights(ray, radius_mm)

    def heights(self, ray: FloatArray, radius_mm: FloatArray | float) -> tuple[FloatArray, FloatArray]:
        """Return the heights at which rays (..., N, 3) meet a cylinder, and the scale there, as `on_cylinder`."""
        along = self._depth(ray, radius_mm)
        return along * ray[..., 2], np.asarray(self.camera.focal_px / np.maximum(along, 1e-6))

    def _depth(self, ray: FloatArray, radius_mm: FloatArray | float) -> FloatArray:
        square = ray[..., 0] ** 2 + ray[..., 1] ** 2
        half = self.away_mm * ray[..., 0]
        root = np.sqrt(np.maximum(half**2 - square * (self.away_mm**2 - radius_mm**2), 0.0))
        return np.asarray((-half - root) / square)

    def beside_px(self, ray: FloatArray) -> FloatArray:
        """Return how far outside the cylinder's silhouette rays (..., N, 3) pass it by, in pixels."""
        flat = np.hypot(ray[..., 0], ray[..., 1])
        clear = self.away_mm * np.abs(ray[..., 1]) / flat - self.radius_mm
        return np.asarray(clear * self.camera.focal_px / np.sqrt(self.away_mm**2 - self.radius_mm**2))

    def points(self, angle_rad: FloatArray, z_mm: FloatArray | float, radius_mm: float) -> FloatArray:
        """Return points (..., 3) of a cylinder in the rotor's frame."""
        x, y = radius_mm * np.cos(angle_rad), radius_mm * np.sin(angle_rad)
        return np.stack(np.broadcast_arrays(x, y, z_mm), axis=-1)

    def pixels(self, points_mm: FloatArray) -> FloatArray:
        """Project points (..., 3) of the rotor's frame to pixels (..., 2)."""
        from_eye = np.stack([points_mm[..., 0] - self.away_mm, points_mm[..., 1], points_mm[..., 2]], axis=-1)
        return self.camera.pixels(from_eye @ np.swapaxes(self.rotation, -1, -2))

    def unrolled(self, angle_rad: FloatArray, z_mm: FloatArray) -> Map:
        """Project the outer cylinder at angles (W,) or (B, W) and heights (H,) to pixels (..., H, W, 2).

        For whole pictures: an angle and a height are turned once each, and single precision is enough.
        """
        turn = np.asarray(self.rotation, np.float32)[..., None, None]
        ahead, aside = self.radius_mm * np.cos(angle_rad) - self.away_mm, self.radius_mm * np.sin(angle_rad)
        ahead, aside = (np.asarray(part, np.float32)[..., None, :] for part in (ahead, aside))
        high = np.asarray(z_mm, np.float32)[:, None]
        x, y, depth = (
            ahead * turn[..., axis, 0, :, :] + aside * turn[..., axis, 1, :, :] + high * turn[..., axis, 2, :, :]
            for axis in range(3)
        )
        eye = self.camera
        focal, x_px, y_px, k1 = (
            np.asarray(number, np.float32)[..., None]
            for number in (eye.focal_px, eye.centre_x_px, eye.centre_y_px, eye.k1)
        )
        x, y = x / depth, y / depth
        bent = focal * (1 + k1 * (x * x + y * y))
        return np.stack([bent * x + x_px, bent * y + y_px], axis=-1)

    def half_mm(self, radius_mm: float) -> float:
        """Return how far beside the axis a cylinder's outline shows, on the plane through it that faces the camera."""
        away = float(self.away_mm)
        return radius_mm * away / float(np.sqrt(away**2 - radius_mm**2))

    def beside_axis(self, xy_px: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return how far beside the axis and above the camera's plane pixels (N, 2) lie on that plane."""
        ray = self.rays(xy_px)
        far = -self.away_mm / ray[:, 0]
        return far * ray[:, 1], far * ray[:, 2]

    @property
    def last_angle_rad(self) -> float:
        """Angle of the outline's ends from the nearest generator."""
        return float(np.arccos(self.radius_mm / self.away_mm))
