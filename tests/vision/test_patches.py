import cv2
import numpy as np
import pytest

from vision.references.patches import patch_corners


def test_a_sheet_on_a_grainy_ground_is_a_patch_though_hardly_brighter() -> None:
    rng = np.random.default_rng(6)
    bgr = rng.normal(90, 9, (500, 600, 3)).clip(0, 255).astype(np.uint8)
    corners = np.array([[150, 120], [400, 150], [420, 330], [130, 300]])
    cv2.fillConvexPoly(bgr, corners.astype(np.int32), (118, 120, 119))
    found = patch_corners(bgr, 100.0)
    off = [
        min(np.abs(np.roll(one[::way], k, axis=0) - corners).max() for k in range(4) for way in (1, -1))
        for one in found
    ]
    assert min(off) < 4


def test_a_ground_without_anything_has_no_patch_inside() -> None:
    rng = np.random.default_rng(7)
    bgr = rng.normal(90, 9, (500, 600, 3)).clip(0, 255).astype(np.uint8)
    inside = [one for one in patch_corners(bgr, 100.0) if one.min() > 10 and one[:, 0].max() < 590]
    assert inside == []


@pytest.mark.parametrize("sides", [3, 5, 6])
def test_what_has_other_than_four_sides_is_none(sides: int) -> None:
    bgr = np.full((500, 600, 3), 60, np.uint8)
    turn = np.arange(sides) * 2 * np.pi / sides
    corners = 150 * np.stack([np.cos(turn), np.sin(turn)], axis=-1) + [300, 250]
    cv2.fillConvexPoly(bgr, corners.round().astype(np.int32), (200, 200, 200))
    inside = [one for one in patch_corners(bgr, 100.0) if one.min() > 10 and one[:, 0].max() < 590]
    assert inside == []
