"""Roughly where the rotor is, as the search for references needs it: the plane of its face and the size of its rim."""

from dataclasses import dataclass, replace

import numpy as np

from vision.camera import Camera, Pose
from vision.measurement import FloatArray
from vision.references.sides import to_pixels

# A rim seen through one lens has two.
TILTS = 2
# Rotors of cars are between these diameters.
CAR_ROTORS_MM = (230.0, 430.0)


@dataclass(frozen=True)
class Floor:
    """The plane that references lie on, or near.

    Attributes
    ----------
    homography : (3, 3) ndarray
        From the plane (mm by a nominal scale; x to the right, y upward as the camera sees it) to pixels.
    rim_radius_mm : float
        The rim's radius by that nominal scale; its centre is the plane's origin.
    upright : (3,) ndarray, optional
        What a millimetre of height adds to a point's lifted pixel ``homography @ (x, y, 1)``.
    diameters_mm : (float, float)
        What the rim's true diameter may be.
    """

    homography: FloatArray
    rim_radius_mm: float
    upright: FloatArray | None = None
    diameters_mm: tuple[float, float] = CAR_ROTORS_MM

    @classmethod
    def under(cls, camera: Camera, pose: Pose, rim_radius_mm: float) -> "Floor":
        """Return the face's plane as a camera sees it; distortion is left out."""
        lens = np.array(
            [
                [float(np.squeeze(camera.focal_px)), 0.0, float(np.squeeze(camera.centre_x_px))],
                [0.0, float(np.squeeze(camera.focal_px)), float(np.squeeze(camera.centre_y_px))],
                [0.0, 0.0, 1.0],
            ]
        )
        seen = lens @ np.column_stack([pose.rotation[:, 0], pose.rotation[:, 1], pose.centre_mm])
        upright = lens @ pose.rotation[:, 2] / seen[2, 2]
        return cls(np.asarray(seen / seen[2, 2], np.float64), rim_radius_mm, np.asarray(upright, np.float64))

    def to_plane(self, xy_px: FloatArray) -> FloatArray:
        """Carry pixels (N, 2) to the plane, mm."""
        return to_pixels(np.asarray(np.linalg.inv(self.homography), np.float64), xy_px)

    def between(self, other: "Floor") -> "Floor":
        """Return the plane half-way to another tilt of the same rim."""
        upright = None if self.upright is None or other.upright is None else (self.upright + other.upright) / 2
        return replace(self, homography=(self.homography + other.homography) / 2, upright=upright)

    def moved(self, corner_px: tuple[int, int]) -> "Floor":
        """Return the same plane in the pixels of a part of the photo that begins at ``corner_px``."""
        shift = np.array([[1.0, 0.0, -corner_px[0]], [0.0, 1.0, -corner_px[1]], [0.0, 0.0, 1.0]])
        return replace(self, homography=shift @ self.homography, upright=None)

    def reduced(self, shrink: float) -> "Floor":
        """Return the same plane in the pixels of a photo reduced by ``shrink``; pixel centres at whole numbers."""
        at = 0.5 / shrink - 0.5
        smaller = np.array([[1 / shrink, 0.0, at], [0.0, 1 / shrink, at], [0.0, 0.0, 1.0]])
        return replace(self, homography=smaller @ self.homography, upright=None)

    @property
    def px_per_mm(self) -> float:
        """Scale near the rotor's centre, by the nominal millimetre."""
        ends = np.array([[-0.5, 0.0], [0.5, 0.0], [0.0, -0.5], [0.0, 0.5]])
        left, right, low, high = to_pixels(self.homography, ends)
        return float(max(np.linalg.norm(right - left), np.linalg.norm(high - low)))
