"""The phone's camera: a pinhole with OpenCV's k1, and the exact projection of points.

The world is the rotor's own frame: millimetres, right-handed, the friction face is ``z = 0`` and
its outward normal is +z. Pixel centres lie at whole numbers, the origin is the top left.
"""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

FloatArray = NDArray[np.float64]

FULL_FRAME_DIAGONAL_MM = math.hypot(36.0, 24.0)
"""The diagonal that "35 mm equivalent" refers to: 43.27 mm."""

MARGIN = 1.06
"""How much wider than the photo the undistorted picture is, for the lens to bend it in."""


@dataclass(frozen=True)
class Pose:
    """Where the camera stands.

    Attributes
    ----------
    rotation : (3, 3) ndarray
        World to camera, OpenCV's axes: x right, y down, z forward.
    position_mm : (3,) ndarray
        The centre of projection in the world.
    """

    rotation: FloatArray
    position_mm: FloatArray

    @property
    def translation_mm(self) -> FloatArray:
        """OpenCV's ``tvec``: the world's origin in the camera's frame."""
        return -self.rotation @ self.position_mm

    @property
    def tilt_deg(self) -> float:
        """Angle between the optical axis and the rotor's axis, 0 to 180."""
        return math.degrees(math.acos(float(np.clip(-self.rotation[2, 2], -1.0, 1.0))))


@dataclass(frozen=True)
class Camera:
    """A pinhole camera with one term of radial distortion, principal point at the centre.

    Attributes
    ----------
    f35_mm : float
        Focal length as 35-mm equivalent, by the diagonal.
    width, height : int
        Size of the photo as displayed, pixels.
    k1 : float
        OpenCV's first radial term.
    pose : Pose
        Where it stands.
    """

    f35_mm: float
    width: int
    height: int
    k1: float
    pose: Pose

    @property
    def focal_px(self) -> float:
        """Focal length in pixels."""
        return self.f35_mm / FULL_FRAME_DIAGONAL_MM * math.hypot(self.width, self.height)

    @property
    def centre_px(self) -> tuple[float, float]:
        """Principal point, pixel centres at whole numbers."""
        return (self.width - 1) / 2, (self.height - 1) / 2

    @property
    def matrix(self) -> FloatArray:
        """OpenCV's camera matrix."""
        cx, cy = self.centre_px
        return np.array([[self.focal_px, 0, cx], [0, self.focal_px, cy], [0, 0, 1.0]])

    def project(self, points_mm: ArrayLike) -> FloatArray:
        """Project world points into the photo.

        Parameters
        ----------
        points_mm : (N, 3) array-like
            Points in the world, in front of the camera.

        Returns
        -------
        (N, 2) ndarray
            ``(x, y)`` in pixels.
        """
        seen = (np.asarray(points_mm, np.float64) - self.pose.position_mm) @ self.pose.rotation.T
        xy = seen[:, :2] / seen[:, 2:3]
        bent = xy * (1 + self.k1 * np.sum(xy**2, axis=1, keepdims=True))
        return np.asarray(bent * self.focal_px + np.array(self.centre_px), np.float64)

    def sees(self, points_mm: ArrayLike, margin_px: float = 0.0) -> bool:
        """Whether all points lie inside the frame, ``margin_px`` away from its edge."""
        xy = self.project(points_mm)
        low, high = margin_px, np.array([self.width - 1, self.height - 1]) - margin_px
        return bool(np.all((xy >= low) & (xy <= high)))


def look_at(target_mm: ArrayLike, direction: ArrayLike, distance_mm: float, roll_deg: float) -> Pose:
    """Stand ``distance_mm`` from the target along ``direction`` and look at it.

    Parameters
    ----------
    target_mm : (3,) array-like
        The point in the middle of the photo.
    direction : (3,) array-like
        From the target to the camera, any length.
    distance_mm : float
        From the target to the camera.
    roll_deg : float
        Turn of the camera round its optical axis; 0 puts +y of the world up (+z in an edge view).
    """
    backward = np.asarray(direction, np.float64) / np.linalg.norm(direction)
    up = np.array([0.0, 1.0, 0.0]) if abs(backward[2]) > 0.5 else np.array([0.0, 0.0, 1.0])
    right = np.cross(up, backward)
    right /= np.linalg.norm(right)
    down = -np.cross(backward, right)
    c, s = math.cos(math.radians(roll_deg)), math.sin(math.radians(roll_deg))
    rotation = np.stack([c * right + s * down, -s * right + c * down, -backward])
    return Pose(rotation, np.asarray(target_mm, np.float64) + distance_mm * backward)


def tilted(tilt_deg: float, azimuth_deg: float) -> FloatArray:
    """Return the unit vector at ``tilt_deg`` from the rotor's axis, towards ``azimuth_deg`` in its plane."""
    t, a = math.radians(tilt_deg), math.radians(azimuth_deg)
    return np.array([math.sin(t) * math.cos(a), math.sin(t) * math.sin(a), math.cos(t)])


def film_size(camera: Camera) -> tuple[int, int]:
    """Width and height of the undistorted picture; of the photo's parity, so that the centres agree."""
    wider = [side + 2 * math.ceil(side * (MARGIN - 1) / 2) for side in (camera.width, camera.height)]
    return wider[0], wider[1]
