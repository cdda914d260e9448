import cv2
import numpy as np
import pytest

from vision.camera import focal_px
from vision.edge_band import Curves, fitted
from vision.edge_view import measure_edge
from vision.photo import Photo
from vision.request import Request

WIDTH, HEIGHT, F35 = 1600, 1200, 26.0
# What the drawing's own edge rendering and the search may cost together, mm of a 330 mm rotor.
DRAWN_MM = 0.6


def cylinder(
    thickness_mm: float, *, diameter_mm: float = 330.0, camera_above_mm: float = 25.0, far_mm: float = 480.0
) -> Photo:
    """A solid disc on a bench, seen along its plane by a pinhole: projected point by point, independent of `Curves`."""
    focal = focal_px(F35, WIDTH, HEIGHT)
    picture = np.full((HEIGHT, WIDTH), 170, np.uint8)
    picture[HEIGHT // 2 + 40 :] = 110
    turn = np.linspace(-np.pi, np.pi, 721)
    radius = diameter_mm / 2

    def seen(
        z_mm: float, angles: np.ndarray[tuple[int], np.dtype[np.float64]]
    ) -> np.ndarray[tuple[int, int], np.dtype[np.float64]]:
        depth = far_mm - radius * np.cos(angles)
        x = focal * radius * np.sin(angles) / depth + WIDTH / 2
        y = focal * (camera_above_mm - z_mm) / depth + HEIGHT / 2
        return np.stack([x, y], axis=-1)

    def fill(points: np.ndarray[tuple[int, int], np.dtype[np.float64]], level: int) -> None:
        hull = cv2.convexHull(points.astype(np.float32))
        cv2.fillPoly(picture, [(hull * 16).round().astype(np.int32)], level, cv2.LINE_AA, 4)

    fill(np.concatenate([seen(0.0, turn), seen(-thickness_mm, turn)]), 60)
    fill(seen(0.0, turn), 210)
    rng = np.random.default_rng(1)
    noisy = np.clip(cv2.GaussianBlur(picture, (0, 0), 0.8) + rng.normal(0, 2, picture.shape), 0, 255)
    return Photo("drawn.jpg", np.repeat(noisy.astype(np.uint8)[..., None], 3, axis=2), F35, True)


@pytest.mark.parametrize("thickness_mm", [10.0, 14.0, 22.0])
def test_the_known_diameter_gives_the_thickness(thickness_mm: float) -> None:
    found = measure_edge(cylinder(thickness_mm), Request(diameter_mm=330.0))
    assert not found.refused
    length = found.dimensions["thickness_mm"]
    assert length.nominal_value == pytest.approx(thickness_mm, abs=DRAWN_MM)
    assert abs(length.nominal_value - thickness_mm) < 2.5 * length.std_dev


def test_a_standing_rotor_measures_the_same() -> None:
    lying = cylinder(14.0)
    standing = Photo("s.jpg", np.ascontiguousarray(np.rot90(lying.bgr)), F35, True)
    lengths = [
        measure_edge(photo, Request(diameter_mm=330.0)).dimensions["thickness_mm"] for photo in (lying, standing)
    ]
    assert lengths[1].nominal_value == pytest.approx(lengths[0].nominal_value, abs=DRAWN_MM)


def test_a_plain_wall_is_solid_and_the_lip_is_what_was_seen() -> None:
    found = measure_edge(cylinder(12.0), Request(diameter_mm=330.0))
    assert found.ventilation is not None
    assert found.ventilation["solid"] > 0.6
    assert found.thickness_over == "lip"
    assert "lip-seen" in [notice.code for notice in found.warnings]


def test_without_scale_it_refuses_and_says_why() -> None:
    found = measure_edge(cylinder(12.0), Request())
    assert [reason.code for reason in found.reasons] == ["no-reference"]
    assert "rim_px" in found.geometry_px


def test_an_empty_picture_shows_no_rotor() -> None:
    rng = np.random.default_rng(2)
    blank = np.clip(rng.normal(120, 3, (900, 1200, 3)), 0, 255).astype(np.uint8)
    found = measure_edge(Photo("b.jpg", blank, F35, True), Request(diameter_mm=330.0))
    assert [reason.code for reason in found.reasons] == ["no-rotor"]


def test_an_unknown_kind_is_one_clear_line() -> None:
    with pytest.raises(ValueError, match="not known"):
        measure_edge(cylinder(12.0), Request(reference="ruler"))


def test_curves_are_the_projection_of_a_cylinder() -> None:
    """Against points projected one by one: a rim of radius 1 whose axis is 3 radii away."""
    focal, away, below = 1000.0, 3.0, 0.2
    turn = np.linspace(-1.1, 1.1, 50)
    depth = away - np.cos(turn)
    x, y = focal * np.sin(turn) / depth + 500, focal * below / depth + 300
    half_width = focal * np.tan(np.arcsin(1 / away))
    curves = Curves(500.0, half_width, focal, 300.0, 0.0)
    np.testing.assert_allclose(curves.y_px(x, below), y, rtol=0, atol=1e-6)
    found, heights = fitted([(x, y), (x, y + 50 * 0 + focal * 0.1 / depth)], Curves(500.0, half_width, focal, 0.0, 0.0))
    assert found.horizon_px == pytest.approx(300.0, abs=0.05)
    np.testing.assert_allclose(heights, [0.2, 0.3], rtol=0, atol=1e-3)
