"""The two poses of a circle, from exact pictures of it."""

import numpy as np
import pytest

from vision.camera import Camera, Pose, facing
from vision.circle_pose import circle, circle_poses, conic_of
from vision.ellipse import Ellipse

CAMERA = Camera(1600.0, 1024.0, 768.0)


def seen(tilt_deg: float, azimuth_deg: float, centre: tuple[float, float, float]) -> tuple[Pose, Ellipse]:
    tilt, azimuth = np.radians([tilt_deg, azimuth_deg])
    normal = np.array([np.sin(tilt) * np.cos(azimuth), np.sin(tilt) * np.sin(azimuth), -np.cos(tilt)])
    pose = Pose(facing(normal), np.array(centre))
    return pose, Ellipse.through(CAMERA.pixels(pose.camera_points(circle(165.0, 90))))


@pytest.mark.parametrize("tilt_deg", [2.0, 12.0, 30.0, 55.0])
@pytest.mark.parametrize("azimuth_deg", [10.0, 130.0, 250.0])
def test_one_of_the_two_poses_is_the_true_one(tilt_deg: float, azimuth_deg: float) -> None:
    pose, ellipse = seen(tilt_deg, azimuth_deg, (60.0, -40.0, 640.0))
    found = circle_poses(conic_of(ellipse.centre_px, ellipse.half_axes_px, ellipse.angle_rad), CAMERA, 165.0)
    off = [float(np.linalg.norm(f.rotation[:, 2] - pose.rotation[:, 2])) for f in found]
    best = found[int(np.argmin(off))]
    assert min(off) < 2e-3
    np.testing.assert_allclose(best.centre_mm, pose.centre_mm, rtol=0, atol=0.2)


def test_both_poses_have_the_same_picture() -> None:
    _, ellipse = seen(25.0, 70.0, (0.0, 30.0, 600.0))
    found = circle_poses(conic_of(ellipse.centre_px, ellipse.half_axes_px, ellipse.angle_rad), CAMERA, 165.0)
    pictures = [Ellipse.through(CAMERA.pixels(f.camera_points(circle(165.0, 90)))) for f in found]
    np.testing.assert_allclose(pictures[0].centre_px, pictures[1].centre_px, rtol=0, atol=0.05)
    assert np.linalg.norm(found[0].rotation[:, 2] - found[1].rotation[:, 2]) > 0.3
