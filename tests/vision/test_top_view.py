import cv2
import numpy as np

from tests.vision.drawn import TiltedFace
from vision.top_view import HALF_STEPS, top_view
from vision.votes import Ballots

FACE = TiltedFace(165.0, 2.0, (400.0, 400.0), np.radians(25), 0.9)


def test_a_point_at_any_height_lands_where_its_plane_says() -> None:
    for height in (0.0, 35.0, -40.0):
        bgr = np.full((801, 801), 90, np.uint8)
        point = np.array([[-40.0, 25.0, height]])
        x, y = FACE.to_pixels(point)[0]
        rows, columns = np.mgrid[0:801, 0:801]
        bgr[np.hypot(columns - x, rows - y) < 8] = 250
        view = top_view(bgr, FACE)
        row, column = np.nonzero(view.level > 5.2)
        on = view.on_view(np.array([height]))[0]
        expected = cv2.perspectiveTransform(point[None, :, :2], on)[0, 0]
        np.testing.assert_allclose([column.mean(), row.mean()], expected, rtol=0, atol=0.5)


def test_what_lies_on_the_face_is_not_seen() -> None:
    card = np.array([[90.0, -20], [120, -20], [120, 20], [90, 20]])
    view = top_view(np.full((801, 801), 90, np.uint8), FACE, [card])
    at = round(105 / view.mm_per_px) + HALF_STEPS
    assert not view.seen[HALF_STEPS, at]
    assert view.seen[HALF_STEPS, 2 * HALF_STEPS - at]


def test_a_disc_draws_votes_to_its_middle_and_a_line_draws_none() -> None:
    level = np.zeros((185, 185), np.uint8)
    cv2.circle(level, (60, 90), 6, 120, -1)
    cv2.line(level, (120, 0), (120, 184), 120, 12)
    votes = Ballots.of(np.log(level.astype(np.float32) + 8)).for_discs(6.0)
    row, column = np.unravel_index(votes.argmax(), votes.shape)
    np.testing.assert_allclose([column, row], [60, 90], rtol=0, atol=1)
    assert votes[20:165, 105:135].max() < 0.1 * votes.max()
