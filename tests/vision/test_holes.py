import numpy as np
import pytest

from tests.vision.drawn import TiltedFace
from vision.bolts import Bolts
from vision.holes import settled

FACE = TiltedFace(165.0, 2.0, (400.0, 400.0), np.radians(20), 0.4, 620.0)
TURN = 0.3 + np.arange(5.0) * (2 * np.pi / 5)
STANDING = np.stack([56 * np.cos(TURN), 56 * np.sin(TURN), np.full(5, 32.0)], axis=-1)
NEAR = Bolts(5, 1.0, 26.0, 57.0, 33.0, np.asarray(TURN, np.float64), 10.0, 25.0)


def test_holes_on_one_circle_tell_its_height_and_radius() -> None:
    found, kept = settled(FACE, NEAR, FACE.to_pixels(STANDING))
    assert found.circle_mm == pytest.approx(56, rel=0.001)
    assert found.height_mm == pytest.approx(32, abs=0.6)
    assert len(kept) == 5


def test_a_hole_off_its_place_is_left_out() -> None:
    centres = FACE.to_pixels(STANDING)
    centres[2] += (9.0, -6.0)
    found, kept = settled(FACE, NEAR, centres)
    assert found.circle_mm == pytest.approx(56, rel=0.003)
    assert len(kept) == 4


def test_two_holes_are_too_few() -> None:
    found, kept = settled(FACE, NEAR, FACE.to_pixels(STANDING)[:2])
    assert found is NEAR
    assert kept.shape == (0, 2)
