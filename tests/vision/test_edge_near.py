"""Faces' and outlines' ends from near: their courses by OpenCV's projection, and what nets see on drawn rims."""

import cv2
import numpy as np
import pytest

from tests.vision.edge_drawn import F35, Drawing
from vision.camera import Camera
from vision.edge_face import Side, find_faces
from vision.edge_pose import Along
from vision.edge_tip import Tip, find_tip
from vision.measurement import FloatArray

FOCAL_PX, AWAY_MM, RADIUS_MM = 1450.0, 390.0, 165.0
ALONG = Along(Camera(FOCAL_PX, 1007.5, 755.5, 0.01), 0.02, -0.03, 0.04, AWAY_MM, RADIUS_MM)


def opencv_px(points_mm: FloatArray) -> FloatArray:
    lens = np.array([[FOCAL_PX, 0, 1007.5], [0, FOCAL_PX, 755.5], [0, 0, 1.0]])
    shift = ALONG.rotation @ np.array([-AWAY_MM, 0.0, 0.0])
    spin = cv2.Rodrigues(ALONG.rotation)[0]
    return np.asarray(cv2.projectPoints(points_mm, spin, shift, lens, np.array([0.01, 0, 0, 0.0]))[0][:, 0])


def test_a_millimetre_outward_of_the_rim_is_one_by_opencv() -> None:
    course = Side(ALONG, -1.0).course(12.0)
    angle, height, _ = ALONG.on_cylinder(course.foot_px, RADIUS_MM)
    np.testing.assert_allclose(height, 12.0, rtol=0, atol=1e-6)
    lower = np.column_stack([RADIUS_MM * np.cos(angle), RADIUS_MM * np.sin(angle), np.full(len(angle), 11.0)])
    np.testing.assert_allclose(course.foot_px + course.out_px, opencv_px(lower), rtol=0, atol=1e-4)


@pytest.mark.parametrize("sign", [-1.0, 1.0])
def test_the_outlines_end_is_where_opencvs_points_of_the_cylinder_go_no_farther(sign: float) -> None:
    tip = Tip(ALONG, (-14.0, 14.0), sign)
    beside, _ = tip.on_plane(tip.course(tip.half_mm).foot_px)
    np.testing.assert_allclose(beside, tip.half_mm, rtol=0, atol=1e-6)
    turn = np.linspace(0, 2 * np.pi, 7200)
    around = np.column_stack([RADIUS_MM * np.cos(turn), RADIUS_MM * np.sin(turn), np.zeros(len(turn))])
    assert tip.on_plane(opencv_px(around))[0].max() == pytest.approx(tip.half_mm, abs=1e-3)


def drawn(drawing: Drawing) -> tuple[np.ndarray, Along]:
    """Return a drawing and the camera's true place."""
    bgr = drawing.draw()
    height, width = bgr.shape[:2]
    focal_px = F35 / np.hypot(36.0, 24.0) * np.hypot(width, height)
    camera = Camera(focal_px, (width - 1) / 2, (height - 1) / 2)
    return bgr, Along(camera, np.radians(drawing.roll_deg), 0.0, 0.0, 400.0, RADIUS_MM)


@pytest.mark.parametrize("thickness_mm", [12.0, 28.0])
def test_faces_of_drawn_rims_end_where_they_were_drawn(thickness_mm: float) -> None:
    drawing = Drawing(thickness_mm, vanes=45 if thickness_mm > 20 else 0)
    bgr, along = drawn(drawing)
    faces = find_faces(bgr, np.ones(bgr.shape[:2], bool), along, -drawing.above_mm - thickness_mm / 2)
    assert faces is not None
    assert faces.top.height_mm == pytest.approx(-drawing.above_mm, abs=0.3)
    assert faces.bottom.height_mm == pytest.approx(-drawing.above_mm - thickness_mm, abs=0.3)
    assert faces.probability > 0.9


def test_no_faces_where_nothing_is() -> None:
    bgr = np.random.default_rng(5).integers(90, 110, (1200, 1600, 3), dtype=np.uint8)
    _, along = drawn(Drawing(28.0))
    faces = find_faces(bgr, np.ones((1200, 1600), bool), along, -19.0)
    assert faces is None or faces.clear < 1.0


def test_what_stands_before_an_end_hides_it() -> None:
    bgr, along = drawn(Drawing(28.0, vanes=45))
    seen = np.ones(bgr.shape[:2], bool)
    tip = Tip(along, (-33.0, -5.0), 1.0)
    near = find_tip(bgr, seen, tip)
    assert near is not None
    assert tip.on_plane(near.xy_px[None])[0][0] == pytest.approx(tip.half_mm, abs=1.0)
    x, y = near.xy_px.round().astype(int)
    seen[y - 150 : y + 150, x - 150 : x + 150] = False
    assert find_tip(bgr, seen, tip) is None
