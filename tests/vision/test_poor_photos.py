"""Photos that show nothing are answered, not crashed on, with a reason and a remedy."""

import cv2
import numpy as np
import pytest

from vision import Photo, Request, measure_face
from vision.edge_view import measure_edge


def disc(level: int, radius_px: int, size_px: int = 800) -> Photo:
    picture = np.full((size_px, size_px, 3), 90, np.uint8)
    cv2.circle(picture, (size_px // 2, size_px // 2), radius_px, (level, level, level), -1, cv2.LINE_AA)
    return Photo("drawn.png", picture)


@pytest.mark.parametrize(
    ("photo", "codes"),
    [
        (disc(200, 300), {"no-rotor", "no-reference"}),
        (Photo("pixel.png", np.zeros((1, 1, 3), np.uint8)), {"no-rotor", "too-small", "blurred"}),
        (Photo("grey.png", np.full((600, 800, 3), 128, np.uint8)), {"no-rotor", "blurred"}),
        (Photo("panorama.png", np.full((2, 6000, 3), 128, np.uint8)), {"no-rotor", "blurred"}),
        (Photo("tower.png", np.full((4000, 3, 3), 128, np.uint8)), {"no-rotor", "blurred"}),
    ],
)
@pytest.mark.parametrize("reference", ["auto", "card", "bolt-circle:112", "points:10,10,400,10,120"])
def test_what_shows_no_rotor_is_refused_with_a_remedy(photo: Photo, codes: set[str], reference: str) -> None:
    for answer in (measure_face(photo, Request(reference)), measure_edge(photo, Request(reference))):
        assert answer.refused
        assert {reason.code for reason in answer.reasons} <= codes
        assert all(reason.remedy for reason in answer.reasons)
