"""The camera and the plane it looks at: pixels to rays, rays to a plane parallel to the rotor's face, and back.

Every function broadcasts, so that one call can serve a whole batch of trial cameras: leading axes of the camera's
and pose's numbers run over the trials.
"""

import math
from dataclasses import dataclass

import numpy as np

from vision.measurement import FloatArray

FRAME_DIAGONAL_MM = math.hypot(36.0, 24.0)
NEWTON_STEPS = 3


@dataclass(frozen=True)
class Camera:
    """A pinhole with OpenCV's first radial coefficient.

    Attributes
    ----------
    focal_px, centre_x_px, centre_y_px, k1 : float or (B, 1) ndarray
        Focal length and principal point in pixels, pixel centres at whole numbers; ``x_d = x (1 + k1 r**2)``.
    """

    focal_px: FloatArray | float
    centre_x_px: FloatArray | float
    centre_y_px: FloatArray | float
    k1: FloatArray | float = 0.0

    def rays(self, xy_px: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return ``x/z`` and ``y/z`` of the rays through ``xy_px`` (N, 2), each of shape (N,) or (B, N)."""
        x = (xy_px[:, 0] - self.centre_x_px) / self.focal_px
        y = (xy_px[:, 1] - self.centre_y_px) / self.focal_px
        bent2 = x * x + y * y
        # Newton on q = 1 / (1 + k1 r^2), which stays near one where the radius itself may vanish.
        q = np.ones_like(bent2)
        for _ in range(NEWTON_STEPS):
            step = q * (1.0 + self.k1 * bent2 * q * q) - 1.0
            q = q - step / (1.0 + 3.0 * self.k1 * bent2 * q * q)
        return x * q, y * q

    def pixels(self, points_mm: FloatArray) -> FloatArray:
        """Project points ``(..., N, 3)`` in the camera's frame to pixels ``(..., N, 2)``."""
        x, y = points_mm[..., 0] / points_mm[..., 2], points_mm[..., 1] / points_mm[..., 2]
        bend = 1.0 + self.k1 * (x * x + y * y)
        return np.stack(
            [self.focal_px * x * bend + self.centre_x_px, self.focal_px * y * bend + self.centre_y_px],
            axis=-1,
        )


@dataclass(frozen=True)
class Pose:
    """Where the rotor is: its axes and the centre of its face in the camera's frame.

    Attributes
    ----------
    rotation : (..., 3, 3) ndarray
        Columns are the rotor's x, y and z axes; z is the face's outward normal, toward the camera.
    centre_mm : (..., 3) ndarray
        Centre of the friction face.
    """

    rotation: FloatArray
    centre_mm: FloatArray

    def camera_points(self, points_mm: FloatArray) -> FloatArray:
        """Carry rotor points ``(N, 3)`` into the camera's frame ``(..., N, 3)``."""
        return points_mm @ np.swapaxes(self.rotation, -1, -2) + self.centre_mm[..., None, :]

    def on_plane(
        self, ray_x: FloatArray, ray_y: FloatArray, height_mm: FloatArray | float
    ) -> tuple[FloatArray, FloatArray]:
        """Meet rays with the plane ``z = height_mm`` and return the rotor's ``x`` and ``y`` in mm."""
        axes = self.rotation
        centre = self.centre_mm

        def along(axis: int) -> FloatArray:
            return ray_x * axes[..., 0, axis, None] + ray_y * axes[..., 1, axis, None] + axes[..., 2, axis, None]

        offset = np.einsum("...ij,...i->...j", axes, centre)[..., None, :]
        stretch = (height_mm + offset[..., 2]) / along(2)
        return stretch * along(0) - offset[..., 0], stretch * along(1) - offset[..., 1]


def focal_px(f35_mm: float, width_px: int, height_px: int) -> float:
    """Return the focal length in pixels for a 35 mm equivalent, which is taken on the frame's diagonal."""
    return f35_mm / FRAME_DIAGONAL_MM * math.hypot(width_px, height_px)


def turned(rotation: FloatArray, lean_x: FloatArray, lean_y: FloatArray) -> FloatArray:
    """Return ``rotation`` (3, 3) leaned by the rotation vectors ``(lean_x, lean_y, 0)`` (B,): (B, 3, 3).

    Rodrigues' formula; the turn about the axis itself is left out, since a rotor looks the same under it.
    """
    angle = np.sqrt(lean_x**2 + lean_y**2)
    sinc, cosc = np.sinc(angle / np.pi), 0.5 * np.sinc(angle / (2 * np.pi)) ** 2
    zero = np.zeros_like(angle)
    skew = np.stack(
        [
            np.stack([zero, zero, lean_y], -1),
            np.stack([zero, zero, -lean_x], -1),
            np.stack([-lean_y, lean_x, zero], -1),
        ],
        -2,
    )
    turn = np.eye(3) + sinc[..., None, None] * skew + cosc[..., None, None] * (skew @ skew)
    leaned: FloatArray = rotation @ turn
    return leaned


def facing(normal: FloatArray) -> FloatArray:
    """Return a rotation whose z axis is ``normal`` (3,), its x axis as near the image's as can be."""
    z = normal / np.linalg.norm(normal)
    x = np.array([1.0, 0.0, 0.0]) - z[0] * z
    x /= np.linalg.norm(x)
    return np.stack([x, np.cross(z, x), z], axis=-1)
