"""The fit of an edge view, against points projected by OpenCV and by plain trigonometry."""

import cv2
import numpy as np
import pytest

from vision.camera import Camera
from vision.edge_pose import LEVEL, Along
from vision.edge_scene import Seen, fit_edge
from vision.edge_start import with_lines
from vision.measurement import FloatArray
from vision.unknowns import Unknowns

FOCAL_PX, SIZE_PX, RADIUS_MM, AWAY_MM = 1450.0, (2016, 1512), 165.0, 390.0
TRUE = Along(Camera(FOCAL_PX, 1007.5, 755.5, 0.01), 0.02, -0.03, 0.04, AWAY_MM, RADIUS_MM)
NOISE_PX = 0.3


def points_of(along: Along) -> FloatArray:
    angles = np.linspace(-0.9, 0.9, 40)
    return along.points(angles, -12.0, along.radius_mm)


def test_pixels_are_opencvs() -> None:
    points = points_of(TRUE)
    lens = np.array([[FOCAL_PX, 0, 1007.5], [0, FOCAL_PX, 755.5], [0, 0, 1.0]])
    rotation = TRUE.rotation
    shift = rotation @ np.array([-AWAY_MM, 0.0, 0.0])
    theirs, _ = cv2.projectPoints(points, cv2.Rodrigues(rotation)[0], shift, lens, np.array([0.01, 0, 0, 0.0]))
    np.testing.assert_allclose(TRUE.pixels(points), theirs[:, 0], rtol=0, atol=1e-6)


def test_a_level_camera_sees_the_rim_by_plain_trigonometry() -> None:
    level = Along(Camera(FOCAL_PX, 1007.5, 755.5), 0.0, 0.0, 0.0, AWAY_MM, RADIUS_MM)
    np.testing.assert_allclose(level.rotation, LEVEL, rtol=0, atol=1e-12)
    angle = np.array([0.3])
    seen = level.pixels(level.points(angle, 20.0, RADIUS_MM))[0]
    depth = AWAY_MM - RADIUS_MM * np.cos(0.3)
    assert seen[0] == pytest.approx(1007.5 + FOCAL_PX * RADIUS_MM * np.sin(0.3) / depth, abs=1e-9)
    assert seen[1] == pytest.approx(755.5 - FOCAL_PX * 20.0 / depth, abs=1e-9)


def test_rays_come_back_to_the_cylinder() -> None:
    points = points_of(TRUE)
    angle, height, scale = TRUE.on_cylinder(TRUE.pixels(points), RADIUS_MM)
    np.testing.assert_allclose(angle, np.linspace(-0.9, 0.9, 40), rtol=0, atol=1e-7)
    np.testing.assert_allclose(height, -12.0, rtol=0, atol=1e-6)
    assert scale[20] == pytest.approx(FOCAL_PX / (AWAY_MM - RADIUS_MM), rel=0.01)


def test_the_outlines_ends_lie_on_the_silhouette() -> None:
    ends = TRUE.pixels(TRUE.points(np.array([-1.0, 1.0]) * TRUE.last_angle_rad, 5.0, RADIUS_MM))
    np.testing.assert_allclose(TRUE.beside_px(TRUE.rays(ends)), 0.0, rtol=0, atol=0.02)


def unknowns(*, radius_std: float = 0.0015) -> Unknowns:
    table = Unknowns()
    table.add("log_focal", np.log(FOCAL_PX), 0.04, std=0.04)
    table.add("k1", 0.01, 0.02, std=0.002)
    for name in ("roll", "pitch", "yaw"):
        table.add(name, 0.0, 0.02, std=0.1)
    table.add("log_radius", np.log(RADIUS_MM), 0.05, std=radius_std)
    table.add("log_clear", np.log(1.2), 0.1, std=0.4)
    table.add("chamfer", 1.0, 0.3, std=0.3)
    return table


def drawn(seed: int) -> Seen:
    """Two edges 28 mm apart, a chamfer of 1 mm, both ends: with noise."""
    rng = np.random.default_rng(seed)
    angles = np.linspace(-0.85, 0.85, 30)
    lines = [TRUE.pixels(TRUE.points(angles, z, RADIUS_MM - 1.0)) for z in (-4.0, -32.0)]
    ends = TRUE.pixels(TRUE.points(np.array([-1.0, 1.0]) * TRUE.last_angle_rad, -18.0, RADIUS_MM))
    noisy = [line + rng.normal(0, NOISE_PX, line.shape) for line in lines]
    return Seen(
        noisy, [True, True], ends + rng.normal(0, NOISE_PX, ends.shape), end_std_px=NOISE_PX, point_std_px=NOISE_PX
    )


def thickness(seed: int) -> tuple[float, float]:
    scene = fit_edge(with_lines(unknowns(), [0.0, -25.0]), drawn(seed), SIZE_PX)
    length = scene.line_number(0) - scene.line_number(1)
    return length.nominal_value, length.std_dev


def test_a_known_radius_gives_the_distance_of_two_lines() -> None:
    value, std = thickness(1)
    assert value == pytest.approx(28.0, abs=4 * std)
    assert std < 0.5


def test_the_stated_deviation_is_the_actual_one() -> None:
    """Forty seeded trials: the pulls' spread is one, give or take three of its own deviations (0.11)."""
    pulls = []
    for seed in range(40):
        value, std = thickness(seed)
        pulls.append((value - 28.0) / std)
    assert np.std(pulls) < 1.35
    assert abs(np.mean(pulls)) < 0.5


def test_a_stray_line_point_moves_nothing() -> None:
    clean = drawn(3)
    bent = [line.copy() for line in clean.lines]
    bent[0][::6] += np.array([0.0, 40.0])
    spoilt = Seen(bent, clean.corner, clean.ends_px, end_std_px=NOISE_PX, point_std_px=NOISE_PX)
    scenes = [fit_edge(with_lines(unknowns(), [0.0, -25.0]), seen, SIZE_PX) for seen in (clean, spoilt)]
    heights = [scene.line_mm(0) - scene.line_mm(1) for scene in scenes]
    assert heights[1] == pytest.approx(heights[0], abs=0.15)
