import numpy as np
import pytest

from sample_images_synthetic.studio.pattern import Surface
from sample_images_synthetic.studio.rotor import draw_rotor
from tests.fitting.drawings import in_groups
from tests.vision.drawn import Look, draw_face
from vision.cuts import find_cuts
from vision.ring import lay_flat
from vision.strokes import Strokes, find_strokes

CLEAR = Look(0.8, 0.8, 0.35, 0.03, 0.5, 0.02, 0.0, 0, 0.006, 0.7, 0.3)


def strokes(surface: Surface, seed: int) -> Strokes:
    rng = np.random.default_rng([5, seed])
    rotor = draw_rotor(rng, surface=surface, construction="one-piece")
    if surface == "slotted":
        rotor = in_groups(rng, rotor)
    bgr, face = draw_face(rng, rotor, CLEAR, 2.0)
    return find_strokes(
        find_cuts(lay_flat(bgr, face, (rotor.ring_inner_mm / 2 + 2, rotor.diameter_mm / 2 * 0.98))).slot
    )


@pytest.mark.parametrize("seed", range(4))
def test_slots_that_do_not_repeat_are_seen_and_lean_alike(seed: int) -> None:
    slotted, plain = strokes("slotted", seed), strokes("plain", seed)
    assert slotted.nth(3) > 0.2
    assert slotted.agreement > 0.8
    assert plain.nth(3) < 0.1


def test_lines_have_their_lean_and_length_and_their_longest_comes_first() -> None:
    rows, columns = np.mgrid[:60, :960]
    slot = np.zeros((60, 960), np.float32)
    for middle, reach in ((100, 30), (350, 15), (750, 24)):
        away = columns - middle - np.tan(np.radians(40.0)) * (30 - rows)
        slot[(np.abs(away) < 1.5) & (np.abs(rows - 30) < reach)] = 0.9
    found = find_strokes(slot)
    assert found.length == pytest.approx([59 / 60, 47 / 60, 29 / 60], abs=1 / 60)
    assert found.lean_deg == pytest.approx(40.0, abs=2.0)
    assert found.lean == pytest.approx(40.0, abs=2.0)
    assert found.agreement > 0.99


def test_radial_lines_do_not_lean_and_nothing_is_no_stroke() -> None:
    slot = np.zeros((60, 960), np.float32)
    assert find_strokes(slot).nth(1) == 0
    slot[:, ::240] = 0.9
    assert find_strokes(slot).lean == pytest.approx(0.0, abs=0.1)
