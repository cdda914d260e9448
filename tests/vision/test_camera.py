"""The camera against OpenCV's own projection, and there and back."""

import cv2
import numpy as np
import pytest

from vision.camera import Camera, Pose, facing, focal_px, turned

EXACT_PX = 1e-9


@pytest.fixture
def points() -> np.ndarray:
    return np.random.default_rng(7).normal(size=(60, 3)) * 120.0


@pytest.mark.parametrize("k1", [-0.05, 0.0, 0.04])
def test_projection_is_opencv_s(points: np.ndarray, k1: float) -> None:
    # OpenCV's calib3d documentation: the pinhole with its first radial coefficient.
    camera = Camera(1500.0, 1010.0, 760.0, k1)
    pose = Pose(facing(np.array([0.2, -0.3, -0.9])), np.array([20.0, -35.0, 640.0]))
    lens = np.array([[1500.0, 0, 1010.0], [0, 1500.0, 760.0], [0, 0, 1]])
    turn, _ = cv2.Rodrigues(pose.rotation)
    expected, _ = cv2.projectPoints(points, turn, pose.centre_mm, lens, np.array([k1, 0.0, 0.0, 0.0]))
    np.testing.assert_allclose(camera.pixels(pose.camera_points(points)), expected[:, 0], rtol=0, atol=1e-7)


def test_a_pixel_carried_to_its_plane_comes_back(points: np.ndarray) -> None:
    camera, height_mm = Camera(1500.0, 1010.0, 760.0, -0.03), 12.0
    pose = Pose(facing(np.array([0.1, 0.4, -0.9])), np.array([0.0, 10.0, 700.0]))
    points[:, 2] = height_mm
    x, y = pose.on_plane(*camera.rays(camera.pixels(pose.camera_points(points))), height_mm)
    np.testing.assert_allclose(np.stack([x, y], 1), points[:, :2], rtol=0, atol=EXACT_PX)


def test_a_lean_is_rodrigues_rotation() -> None:
    start = facing(np.array([0.0, 0.3, -1.0]))
    leaned = turned(start, np.array([0.1, 0.4]), np.array([-0.3, 0.0]))
    np.testing.assert_allclose(leaned[0], start @ cv2.Rodrigues(np.array([0.1, -0.3, 0.0]))[0], rtol=0, atol=1e-12)
    np.testing.assert_allclose(leaned[1], start @ cv2.Rodrigues(np.array([0.4, 0.0, 0.0]))[0], rtol=0, atol=1e-12)


def test_the_equivalent_focal_length_is_the_diagonal_s() -> None:
    # A 4:3 frame of the 35 mm diagonal, 43.27 mm, is 34.61 mm wide (geometry): 26 mm on 4032 pixels.
    assert focal_px(26.0, 4032, 3024) == pytest.approx(26.0 / 34.613 * 4032, rel=1e-4)
