"""Scenes for tests that don't wait for a fit: a pose from rim points whose truth is known, or marked by hand."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np

from vision.camera import Camera, Pose, focal_px
from vision.circle_pose import circle_poses, conic_of
from vision.measurement import FloatArray


@dataclass(frozen=True)
class PosedFace:
    """A camera, a pose and a rim: what unwrapping needs of a scene."""

    camera: Camera
    pose: Pose
    rim_radius_mm: float

    def to_pixels(self, points_mm: FloatArray) -> FloatArray:
        """Project rotor points (N, 3)."""
        return self.camera.pixels(self.pose.camera_points(points_mm))

    def to_plane(self, xy_px: FloatArray, height_mm: float = 0.0) -> FloatArray:
        """Carry pixels (N, 2) to a plane."""
        return np.stack(self.pose.on_plane(*self.camera.rays(xy_px), height_mm), axis=-1)


def face_of_truth(row: Mapping[str, Any]) -> PosedFace:
    """Pose a rotor by the rim points and the camera that a row of ``truth.json`` states (OpenCV's solvePnP)."""
    seen = row["camera"]
    camera = Camera(seen["focal_px"], seen["principal_px"][0], seen["principal_px"][1], seen["k1"])
    radius, rim_px = row["rotor"]["diameter_mm"] / 2, np.array(row["rim_px"], float)
    turn = np.arange(len(rim_px)) * (2 * np.pi / len(rim_px))
    best = None
    for way in (1.0, -1.0):
        rim_mm = radius * np.stack([np.cos(turn), way * np.sin(turn), np.zeros_like(turn)], axis=-1)
        lens = np.array([[camera.focal_px, 0, camera.centre_x_px], [0, camera.focal_px, camera.centre_y_px], [0, 0, 1]])
        bend = np.array([camera.k1, 0, 0, 0], float)
        for method in (cv2.SOLVEPNP_ITERATIVE, cv2.SOLVEPNP_IPPE):
            _, spin, shift = cv2.solvePnP(rim_mm, rim_px, np.asarray(lens, float), bend, flags=method)
            rotation = np.asarray(cv2.Rodrigues(spin)[0], float)
            face = PosedFace(camera, Pose(rotation, np.asarray(shift, float)[:, 0]), radius)
            miss = float(np.abs(face.to_pixels(rim_mm) - rim_px).max())
            if rotation[:, 2] @ face.pose.centre_mm < 0 and (best is None or miss < best[0]):
                best = (miss, face)
    if best is None or best[0] > 1.0:
        raise ValueError(f"{row['id']}: no pose shows the rim where the truth has it: {best and best[0]} px")
    return best[1]


def face_of_marks(marks_px: Sequence[tuple[float, float]], size_px: tuple[int, int], f35_mm: float) -> list[PosedFace]:
    """Pose a nominal rim by marks on it: both tilts that an ellipse may have."""
    camera = Camera(focal_px(f35_mm, *size_px), (size_px[0] - 1) / 2, (size_px[1] - 1) / 2)
    (x, y), (width, height), angle = cv2.fitEllipseDirect(np.array(marks_px, np.float32))
    conic = conic_of(np.array([x, y]), np.array([width, height]) / 2, np.radians(angle))
    return [PosedFace(camera, pose, 165.0) for pose in circle_poses(conic, camera, 165.0)]
