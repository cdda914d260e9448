"""Hats seen along the rotor's plane: where their ends show by OpenCV's projection, and their heights in photos."""

import json
from pathlib import Path

import cv2
import numpy as np
import pytest

from tests.benchmarks.measuring import kind_of
from tests.vision.edge_drawn import F35, Drawing
from vision import Request, read_photo
from vision.camera import Camera
from vision.circle_pose import circle
from vision.edge_hat import Flank
from vision.edge_pose import Along
from vision.edge_scene import EdgeScene
from vision.edge_view import measure_edge
from vision.measurement import FloatArray
from vision.photo import Photo

CHECKING = Path(__file__).parents[2] / "sample_images_synthetic" / "checking"
FOCAL_PX, AWAY_MM, RADIUS_MM = 1450.0, 390.0, 165.0
ALONG = Along(Camera(FOCAL_PX, 1007.5, 755.5, 0.01), 0.02, -0.03, 0.04, AWAY_MM, RADIUS_MM)


def highest_px(points_mm: FloatArray, column: float) -> float:
    """Project points by OpenCV and return the least row, across a column, of the curve that they are."""
    lens = np.array([[FOCAL_PX, 0, 1007.5], [0, FOCAL_PX, 755.5], [0, 0, 1.0]])
    shift = ALONG.rotation @ np.array([-AWAY_MM, 0.0, 0.0])
    spin = cv2.Rodrigues(ALONG.rotation)[0]
    xy = cv2.projectPoints(points_mm, spin, shift, lens, np.array([0.01, 0, 0, 0.0]))[0][:, 0]
    after = np.roll(xy, -1, axis=0)
    crosses = np.flatnonzero((xy[:, 0] - column) * (after[:, 0] - column) <= 0)
    share = (column - xy[crosses, 0]) / (after[crosses, 0] - xy[crosses, 0])
    return float((xy[crosses, 1] + share * (after[crosses, 1] - xy[crosses, 1])).min())


@pytest.mark.parametrize("face_mm", [-70.0, -35.0, 12.0])
def test_a_hats_end_shows_where_opencv_sees_its_highest_points(face_mm: float) -> None:
    """Over the camera's plane that is the nearer half of its circle, under it the farther."""
    flank = Flank(ALONG, face_mm, 1.0)
    course = flank.top(75.0, 30.0)
    end = circle(75.0, 2000, face_mm + 30.0)
    for foot in course.foot_px[::97]:
        # The picture is turned a little: an end's highest points are not quite those highest in the picture.
        assert highest_px(end, float(foot[0])) == pytest.approx(float(foot[1]), abs=0.35)


@pytest.mark.parametrize("side", [1.0, -1.0])
def test_heights_come_back_from_where_they_show(side: float) -> None:
    flank = Flank(ALONG, 14.0, side)
    across = np.linspace(-60.0, 60.0, 31)
    over = flank.outline_mm(80.0, 41.0, across)
    np.testing.assert_allclose(flank.height_mm(80.0, over, across), 41.0, rtol=0, atol=1e-9)
    beside, back = flank.on_plane(flank.course(across, over).foot_px)
    np.testing.assert_allclose(beside, across, rtol=0, atol=1e-6)
    np.testing.assert_allclose(back, over, rtol=0, atol=1e-6)


def test_a_length_by_the_cameras_place_has_the_deviation_of_many_places() -> None:
    names = ["log_focal", "shift_x", "shift_y", "k1", "roll", "pitch", "yaw", "log_radius", "log_clear"]
    values = dict(zip(names, [7.28, 0.0, 0.01, 0.01, 0.02, -0.03, 0.04, np.log(RADIUS_MM), 0.3], strict=True))
    root = 0.003 * np.random.default_rng(3).normal(size=(9, 9))
    scene = EdgeScene(values, root @ root.T, (2016, 1512), [], 0.0, 0.0)
    drawn = np.random.default_rng(4).multivariate_normal(list(values.values()), scene.covariance, 20_000)
    away_mm = np.exp(drawn[:, 7]) * (1 + np.exp(drawn[:, 8]))
    found = scene.number_of(lambda along: float(along.away_mm))
    assert found.nominal_value == pytest.approx(scene.along.away_mm)
    assert found.std_dev == pytest.approx(away_mm.std(), rel=0.03)


@pytest.mark.parametrize("name", ["c010", "c018", "c094", "c120"])
def test_heights_of_rendered_rotors_are_within_their_intervals(name: str) -> None:
    row = next(row for row in json.loads((CHECKING / "truth.json").read_text()) if row["id"] == name)
    told = row["rotor"]["diameter_mm"] if row["reference"]["kind"] == "none" else None
    found = measure_edge(read_photo(CHECKING / row["file"]), Request(kind_of(row), diameter_mm=told))
    height = found.dimensions["height_mm"]
    assert abs(height.nominal_value - row["rotor"]["height_mm"]) < 1.96 * height.std_dev
    assert height.std_dev < 2.0
    assert len(found.geometry_px["hat_px"])


def test_a_ring_without_a_hat_has_no_height() -> None:
    found = measure_edge(Photo("drawn.jpg", Drawing(28.0, vanes=45).draw(), F35, True), Request(diameter_mm=330.0))
    assert "thickness_mm" in found.dimensions
    assert "height_mm" not in found.dimensions
