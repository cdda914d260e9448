from dataclasses import replace

import cv2
import numpy as np
import pytest

from sample_images_synthetic.studio.rotor import Rotor, draw_rotor
from tests.vision.drawn import TiltedFace, draw_face, draw_look, tilted, with_hat
from vision.describe import WIDEST_INNER, RingDescription, describe_ring
from vision.hat import Middle
from vision.measurement import Measurement
from vision.overlay import draw_overlay
from vision.photo import Photo


@pytest.fixture(scope="module")
def described() -> tuple[Rotor, TiltedFace, RingDescription]:
    rng = np.random.default_rng([21, 2])
    rotor, look = draw_rotor(rng, construction="one-piece", surface="slotted"), draw_look(rng)
    bgr, face = draw_face(rng, rotor, look, 1.6)
    bgr, face = tilted(bgr, face, np.radians(20), 0.7)
    return rotor, face, describe_ring(Photo("drawn", with_hat(rng, bgr, face, rotor)), face)


def test_a_drawn_rotor_looks_like_one(described: tuple[Rotor, TiltedFace, RingDescription]) -> None:
    rotor, _, ring = described
    assert ring.looks_like_a_rotor()
    assert ring.bolt_count is not None
    assert ring.bolt_count[0] == rotor.bolt_count


def test_bolts_are_outlined_where_the_holes_are(described: tuple[Rotor, TiltedFace, RingDescription]) -> None:
    rotor, face, ring = described
    middles = np.array([outline.mean(axis=0) for outline in ring.outlines_px["bolts"]])
    radius_mm = np.hypot(*face.to_plane(middles, rotor.hat_z_mm).T)
    np.testing.assert_allclose(2 * radius_mm, rotor.bolt_circle_mm, rtol=0.02)


def test_a_plate_with_texture_is_no_rotor() -> None:
    rng = np.random.default_rng(3)
    bgr = np.full((700, 700, 3), 60, np.uint8)
    cv2.circle(bgr, (350, 350), 330, (150, 150, 150), -1)
    bgr = np.clip(bgr + rng.normal(0, 8, bgr.shape), 0, 255).astype(np.uint8)
    ring = describe_ring(Photo("plate", bgr), TiltedFace(165.0, 2.0, (350.0, 350.0), distance_mm=650.0))
    assert not ring.looks_like_a_rotor()


def test_a_narrow_ring_alone_is_no_cars_rotor(described: tuple[Rotor, TiltedFace, RingDescription]) -> None:
    _, face, ring = described
    for share, is_rotor in ((WIDEST_INNER - 0.1, True), (WIDEST_INNER + 0.04, False)):
        middle = Middle(None, {}, (share * face.rim_radius_mm,), 3.0)
        assert replace(ring, middle=middle, bolt_count=None).looks_like_a_rotor() is is_rotor
    assert not replace(ring, middle=Middle(None, {}), bolt_count=(5, 0.3)).looks_like_a_rotor()


def test_holes_hardly_likelier_than_not_make_no_rotor_of_an_odd_size(
    described: tuple[Rotor, TiltedFace, RingDescription],
) -> None:
    unclear = replace(described[2], middle=Middle(None, {}), bolt_count=(4, 0.56))
    assert unclear.looks_like_a_rotor()
    assert not unclear.looks_like_a_rotor(usual_size=0.1)
    assert replace(unclear, bolt_count=(4, 0.99)).looks_like_a_rotor(usual_size=0.1)


def test_slots_and_bolts_are_drawn_and_told(described: tuple[Rotor, TiltedFace, RingDescription]) -> None:
    rotor, _, ring = described
    measured = Measurement("drawn", "face", features_px=ring.outlines_px)
    told = measured.to_json()["features"]
    assert len(told["bolts_px"]) == rotor.bolt_count
    assert len(told["slots_px"]) >= 3
    photo = Photo("blank", np.zeros((1600, 1600, 3), np.uint8))
    drawn = cv2.imdecode(np.frombuffer(draw_overlay(photo, measured), np.uint8), cv2.IMREAD_COLOR)
    assert drawn is not None
    for bolt in told["bolts_px"]:
        x, y = np.round(bolt[0]).astype(int)
        assert drawn[y - 2 : y + 3, x - 2 : x + 3, 1].max() > 200


@pytest.mark.parametrize("width", [474, 2016])
def test_a_refusals_whole_sentence_stands_on_the_overlay(width: int) -> None:
    refused = Measurement("blank", "face").refuse("no-reference")
    photo = Photo("blank", np.full((width, width, 3), 60, np.uint8))
    drawn = cv2.imdecode(np.frombuffer(draw_overlay(photo, refused), np.uint8), cv2.IMREAD_COLOR)
    assert drawn is not None
    lettered = drawn[..., 1].max(axis=0) > 200
    assert lettered[: width // 2].any()
    assert not lettered[-width // 60 :].any()
