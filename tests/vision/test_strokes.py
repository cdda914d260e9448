import numpy as np
import pytest

from sample_images_synthetic.studio.pattern import Surface
from sample_images_synthetic.studio.rotor import draw_rotor
from tests.fitting.drawings import in_groups
from tests.vision.drawn import Look, draw_face
from vision.ring import lay_flat
from vision.strokes import ALIKE_DEG, LEANS_DEG, Strokes, find_strokes

CLEAR = Look(0.8, 0.8, 0.35, 0.03, 0.5, 0.02, 0.0, 0, 0.006, 0.7, 0.3)


def strokes(surface: Surface, seed: int) -> Strokes:
    rng = np.random.default_rng([5, seed])
    rotor = draw_rotor(rng, surface=surface, construction="one-piece")
    if surface == "slotted":
        rotor = in_groups(rng, rotor)
    bgr, face = draw_face(rng, rotor, CLEAR, 2.0)
    ring = lay_flat(bgr, face, (rotor.ring_inner_mm / 2 + 2, rotor.diameter_mm / 2 * 0.98))
    return find_strokes(ring.relief, ring.seen)


@pytest.mark.parametrize("seed", range(4))
def test_slots_that_do_not_repeat_are_seen_and_lean_alike(seed: int) -> None:
    slotted, plain = strokes("slotted", seed), strokes("plain", seed)
    assert slotted.nth(3) > 2 * plain.nth(3)


def test_a_drawn_line_has_its_lean_and_what_is_hidden_has_none() -> None:
    rows, columns = np.mgrid[:120, :1920]
    lean_deg = float(LEANS_DEG[12])
    relief = np.zeros((120, 1920), np.float32)
    for middle in (200, 700, 1500):
        away = columns - middle - np.tan(np.radians(lean_deg)) * (60 - rows)
        relief[np.abs(away) < 3] = -4.0
    seen = np.ones(relief.shape, bool)
    found = find_strokes(relief, seen)
    assert found.nth(3) > 2.5
    assert found.lean_deg[:3] == pytest.approx(lean_deg, abs=ALIKE_DEG / 2)
    assert found.agreement > 0.9
    seen[:] = False
    assert find_strokes(relief * seen, seen).nth(1) == 0


def test_one_edge_alone_is_no_stroke() -> None:
    relief = np.zeros((120, 1920), np.float32)
    rows, columns = np.mgrid[:120, :1920]
    relief[columns > 900 + rows] = 3.0
    relief[columns > 1500 - rows] = 0.0
    assert find_strokes(relief, np.ones(relief.shape, bool)).nth(1) < 0.5
