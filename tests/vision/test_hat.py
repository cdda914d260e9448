import numpy as np
import pytest

from sample_images_synthetic.studio.rotor import Rotor, draw_rotor
from tests.vision.drawn import TiltedFace, draw_face, draw_look, tilted, with_hat
from vision.bolts import Bolts, find_bolts
from vision.hat import Middle, look_inside
from vision.holes import bolt_holes, settled, stud_tops
from vision.top_view import top_view

Picture = np.ndarray[tuple[int, ...], np.dtype[np.uint8]]
# "Pitch circle within 0.7 %" is the project's own target; the figures below are those of clean drawings.
CLEAN_SHARE = 0.004


def drawn(seed: int, tilt_deg: float) -> tuple[Rotor, Picture, TiltedFace]:
    rng = np.random.default_rng([21, seed])
    rotor, look = draw_rotor(rng, construction="one-piece", surface="plain"), draw_look(rng)
    bgr, face = draw_face(rng, rotor, look, 1.6)
    bgr, face = tilted(bgr, face, np.radians(tilt_deg), float(rng.uniform(0, 2 * np.pi)))
    return rotor, with_hat(rng, bgr, face, rotor), face


def bolts_in(bgr: Picture, face: TiltedFace) -> Bolts:
    bolts = find_bolts(top_view(bgr[..., 0], face))
    assert bolts is not None
    return bolts


@pytest.mark.parametrize("seed", range(8))
def test_bolts_are_counted_though_locating_holes_lie_between_them(seed: int) -> None:
    rotor, bgr, face = drawn(seed, 18)
    bolts = bolts_in(bgr, face)
    assert bolts.count == rotor.bolt_count
    assert bolts.probability > 0.5


@pytest.mark.parametrize("seed", range(5))
def test_a_tilted_photo_gives_pitch_circle_and_height(seed: int) -> None:
    rotor, bgr, face = drawn(seed, 22)
    bolts = bolts_in(bgr, face)
    spots_px = stud_tops(top_view(bgr[..., 0], face), bolts)
    found, _ = settled(face, bolts, bolt_holes(bgr, face, bolts, spots_px))
    assert 2 * found.circle_mm == pytest.approx(rotor.bolt_circle_mm, rel=CLEAN_SHARE)
    assert found.height_mm == pytest.approx(rotor.hat_z_mm, abs=2.0)


@pytest.mark.parametrize("seed", range(3))
def test_where_the_net_sees_holes_tells_their_circle_roughly(seed: int) -> None:
    rotor, bgr, face = drawn(seed, 22)
    view = top_view(bgr[..., 0], face)
    bolts = bolts_in(bgr, face)
    centres_px = stud_tops(view, bolts)
    found, kept = settled(face, bolts, centres_px)
    assert len(centres_px) == rotor.bolt_count
    assert len(kept) >= rotor.bolt_count - 1
    assert 2 * found.circle_mm == pytest.approx(rotor.bolt_circle_mm, rel=0.02)


def test_a_stud_that_a_card_hides_is_left_out() -> None:
    rotor, bgr, face = drawn(1, 22)
    bolts = bolts_in(bgr, face)
    turn, reach = bolts.angles_rad[0], bolts.circle_mm
    middle_px = face.to_pixels(np.array([[reach * np.cos(turn), reach * np.sin(turn), bolts.height_mm]]))
    middle_mm = face.to_plane(middle_px, 0.0)
    card_mm = middle_mm + 12.0 * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]])
    assert len(stud_tops(top_view(bgr[..., 0], face, [card_mm]), bolts)) == rotor.bolt_count - 1


def test_a_nominal_scale_gives_the_same_shares() -> None:
    rotor, bgr, face = drawn(3, 20)
    grown = TiltedFace(
        1.2 * face.rim_radius_mm,
        face.px_per_mm / 1.2,
        face.centre_px,
        face.tilt_rad,
        face.tilt_towards_rad,
        1.2 * face.distance_mm,
    )
    bolts = bolts_in(bgr, grown)
    spots_px = stud_tops(top_view(bgr[..., 0], grown), bolts)
    found, _ = settled(grown, bolts, bolt_holes(bgr, grown, bolts, spots_px))
    assert found.count == rotor.bolt_count
    assert found.circle_mm / grown.rim_radius_mm == pytest.approx(rotor.bolt_circle_mm / rotor.diameter_mm, rel=0.006)


@pytest.fixture(scope="module")
def seen() -> tuple[Rotor, Middle]:
    rotor, bgr, face = drawn(2, 20)
    return rotor, look_inside(bgr, bgr[..., 0], top_view(bgr[..., 0], face))


def test_bore_and_hat_are_found_at_the_hats_height(seen: tuple[Rotor, Middle]) -> None:
    rotor, middle = seen
    assert middle.hat_up is True
    assert 2 * middle.circles["centre_bore"].radius_mm == pytest.approx(rotor.centre_bore_mm, rel=0.02)
    assert 2 * middle.circles["hat"].radius_mm == pytest.approx(rotor.hat_mm, rel=0.02)


def test_samples_are_as_many_as_their_deviations(seen: tuple[Rotor, Middle]) -> None:
    for circle in seen[1].circles.values():
        count = len(circle.samples.xy_px)
        assert count == len(circle.samples.std_px) == len(circle.samples.bright_inside) == len(circle.samples.side)
        assert 0 < circle.support <= 1


def test_a_blank_ground_has_no_sure_bolts() -> None:
    rng = np.random.default_rng(4)
    bgr = np.clip(rng.normal(120, 4, (700, 700, 3)), 0, 255).astype(np.uint8)
    bolts = find_bolts(top_view(bgr[..., 0], TiltedFace(165.0, 2.0, (350.0, 350.0), distance_mm=650.0)))
    assert bolts is None or bolts.probability < 0.6
