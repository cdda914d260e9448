import numpy as np
import pytest

from sample_images_synthetic.studio.rotor import draw_rotor
from tests.vision.drawn import TiltedFace, draw_face, draw_look, tilted
from vision.ring import lay_flat, unwrap

SQUARE_ON = TiltedFace(165.0, 2.0, (400.0, 400.0), distance_mm=1e6)


def spot_at(face: TiltedFace, xy_mm: tuple[float, float]) -> np.ndarray[tuple[int, ...], np.dtype[np.uint8]]:
    bgr = np.full((801, 801, 3), 120, np.uint8)
    x, y = face.to_pixels(np.array([[*xy_mm, 0.0]]))[0]
    rows, columns = np.mgrid[0:801, 0:801]
    bgr[np.hypot(columns - x, rows - y) < 6] = 10
    return bgr


@pytest.mark.parametrize("xy_mm", [(139.0, 14.0), (0.0, 140.0), (-100.0, -90.0)])
def test_a_spot_lands_where_its_angle_and_radius_put_it(xy_mm: tuple[float, float]) -> None:
    ring = lay_flat(spot_at(SQUARE_ON, xy_mm), SQUARE_ON, (105.0, 163.0))
    dark = np.argwhere(ring.bgr[..., 0] < 60)
    found = ring.to_face(dark.mean(axis=0)[None, ::-1])[0]
    np.testing.assert_allclose(found, xy_mm, rtol=0, atol=0.5)


def test_a_round_spot_stays_round_at_every_radius() -> None:
    for radius in (110.0, 135.0, 158.0):
        ring = lay_flat(spot_at(SQUARE_ON, (radius, 0.0)), SQUARE_ON, (100.0, 164.0))
        rows, columns = np.nonzero(np.roll(ring.bgr[..., 0], 200, axis=1) < 60)
        assert np.ptp(columns) == pytest.approx(np.ptp(rows), abs=1.5)


def test_unwrapping_undoes_the_tilt() -> None:
    rng = np.random.default_rng(3)
    rotor, look = draw_rotor(rng, surface="drilled"), draw_look(rng)
    flat_bgr, flat_face = draw_face(rng, rotor, look, 2.0)
    bgr, face = tilted(flat_bgr, flat_face, np.radians(25), 0.7)
    span = (rotor.ring_inner_mm / 2 + 2, rotor.diameter_mm / 2 - 3)
    straight, slanted = (unwrap(b, f, span)[0].astype(float) for b, f in ((flat_bgr, flat_face), (bgr, face)))
    assert np.corrcoef(straight.ravel(), slanted.ravel())[0, 1] > 0.97


def test_light_and_turning_marks_leave_no_relief() -> None:
    rng = np.random.default_rng(5)
    y, x = np.mgrid[0:801, 0:801] - 400.0
    light = 110 + 60 * np.cos(2 * np.arctan2(y, x)) + 12 * np.sin(np.hypot(x, y) / 2.3)
    noisy = light + rng.normal(0, 1.5, light.shape)
    bgr = np.repeat(np.clip(noisy, 0, 255).astype(np.uint8)[..., None], 3, axis=2)
    ring = lay_flat(bgr, SQUARE_ON, (105.0, 160.0))
    assert np.abs(ring.depth).mean() < 0.03


def test_what_lies_on_the_face_or_in_front_of_it_is_not_seen() -> None:
    bgr = np.full((801, 801, 3), 120, np.uint8)
    card = np.array([[110.0, -20], [150, -20], [150, 20], [110, 20]])
    turn = np.linspace(0, 2 * np.pi, 40, endpoint=False)
    hat = 115 * np.stack([np.cos(turn), np.sin(turn)], axis=-1)
    _, seen, _ = unwrap(bgr, SQUARE_ON, (105.0, 163.0), hidden_mm=[card, hat])
    radii = 163.0 * np.exp(-2 * np.pi / seen.shape[1] * np.arange(seen.shape[0]))
    assert not seen[radii < 114].any()
    assert not seen[np.abs(radii - 130).argmin(), 0]
    assert seen[np.abs(radii - 130).argmin(), seen.shape[1] // 2]


def test_a_part_outside_the_picture_is_not_seen() -> None:
    face = TiltedFace(165.0, 2.0, (300.0, 400.0), distance_mm=1e6)
    _, seen, _ = unwrap(np.full((801, 801, 3), 120, np.uint8), face, (105.0, 163.0))
    assert not seen[0, seen.shape[1] // 2]
    assert seen[0, 0]


def test_a_span_without_width_is_refused() -> None:
    with pytest.raises(ValueError, match="0 < inner < outer"):
        unwrap(np.zeros((10, 10, 3), np.uint8), SQUARE_ON, (100.0, 90.0))
