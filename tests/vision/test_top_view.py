from dataclasses import replace

import cv2
import numpy as np

from tests.vision.drawn import TiltedFace
from vision.top_view import FINER, HALF_STEPS, top_view

FACE = TiltedFace(165.0, 2.0, (400.0, 400.0), np.radians(25), 0.9)


def test_a_point_at_any_height_lands_where_its_plane_says() -> None:
    for height in (0.0, 35.0, -40.0):
        bgr = np.full((801, 801), 90, np.uint8)
        point = np.array([[-40.0, 25.0, height]])
        x, y = FACE.to_pixels(point)[0]
        rows, columns = np.mgrid[0:801, 0:801]
        bgr[np.hypot(columns - x, rows - y) < 8] = 250
        view = top_view(bgr, FACE)
        row, column = np.nonzero(view.grey > 180)
        on = view.on_view(np.array([height]))[0]
        expected = cv2.perspectiveTransform(point[None, :, :2], on)[0, 0]
        seen = (np.array([column.mean(), row.mean()]) - (FINER - 1) / 2) / FINER
        np.testing.assert_allclose(seen, expected, rtol=0, atol=0.3)
        np.testing.assert_allclose(view.pixels_of(expected[None])[0], [x, y], rtol=0, atol=0.01)


def test_another_faces_planes_are_looked_at_in_the_same_picture() -> None:
    other = replace(FACE, tilt_rad=np.radians(-20))
    view = top_view(np.full((801, 801), 90, np.uint8), FACE)
    meant = view.meant_by(other)
    assert meant.hub is view.hub
    place_mm = np.array([[50.0, 20.0, 30.0]])
    on_view = cv2.perspectiveTransform(place_mm[None, :, :2], meant.on_view(np.array([30.0]))[0])[0]
    np.testing.assert_allclose(view.pixels_of(on_view), other.to_pixels(place_mm), rtol=0, atol=0.2)


def test_what_lies_on_the_face_is_not_seen() -> None:
    card = np.array([[90.0, -20], [120, -20], [120, 20], [90, 20]])
    view = top_view(np.full((801, 801), 90, np.uint8), FACE, [card])
    at = round(105 / view.mm_per_px) + HALF_STEPS
    assert not view.seen[HALF_STEPS, at]
    assert view.seen[HALF_STEPS, 2 * HALF_STEPS - at]
