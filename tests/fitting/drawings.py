"""Surface features of drawn rotors, for the fit: many looks at little cost, beside the rendered photos."""

from dataclasses import replace

import numpy as np

from sample_images_synthetic.studio.pattern import SURFACES, Slot
from sample_images_synthetic.studio.rotor import Rotor, draw_rotor
from tests.vision.drawn import as_sent, draw_face, draw_look, tilted, with_caliper
from vision.ring import Ring, lay_flat
from vision.surface import find_marks, read_features

# Share of the slotted drawings whose slots don't repeat evenly.
GROUPED = 0.5


def drawn_example(seed: int) -> tuple[str, dict[str, float]]:
    """Draw one rotor and read its features, as a photo's are."""
    rotor, ring = drawn_ring(seed)
    return rotor.surface, read_features(ring, find_marks(ring))


def drawn_ring(seed: int) -> tuple[Rotor, Ring]:
    """Draw one rotor and lay its ring flat, with the errors a fitted scene may have."""
    rng = np.random.default_rng([0xD1, seed])
    surface = SURFACES[seed % len(SURFACES)]
    rotor, look = draw_rotor(rng, surface=surface), draw_look(rng)
    if surface == "slotted" and rng.random() < GROUPED:
        rotor = in_groups(rng, rotor)
    bgr, face = draw_face(rng, rotor, look, float(np.exp(rng.uniform(np.log(0.9), np.log(2.4)))))
    if rng.random() < 0.7:
        bgr, face = tilted(bgr, face, float(np.radians(rng.uniform(0, 40))), float(rng.uniform(0, 2 * np.pi)))
    if rng.random() < 0.3:
        bgr = with_caliper(rng, bgr, face, float(np.radians(rng.uniform(50, 95))))
    bgr = as_sent(rng, bgr, int(rng.integers(50, 96)))
    inner = rotor.ring_inner_mm / 2 * rng.uniform(0.99, 1.05)
    return rotor, lay_flat(bgr, face, (inner, rotor.diameter_mm / 2 * rng.uniform(0.97, 0.99)))


def in_groups(rng: np.random.Generator, rotor: Rotor) -> Rotor:
    """Put the slots unevenly round the ring, some shorter than others, as slots in groups are."""
    slots = rotor.pattern.slots
    room_rad = 2 * np.pi / len(slots)
    uneven = tuple(_moved(rng, slot, float(rng.uniform(-0.4, 0.4)) * room_rad) for slot in slots)
    return replace(rotor, pattern=replace(rotor.pattern, slots=uneven))


def _moved(rng: np.random.Generator, slot: Slot, turn_rad: float) -> Slot:
    """Turn a slot about the axis and perhaps leave a part of it only."""
    path = np.array(slot.path_mm)
    if rng.random() < 0.5:
        first = int(rng.integers(0, len(path) // 2))
        path = path[first : first + len(path) // 2 + 1]
    turn = np.array([[np.cos(turn_rad), np.sin(turn_rad)], [-np.sin(turn_rad), np.cos(turn_rad)]])
    return replace(slot, path_mm=tuple((float(x), float(y)) for x, y in path @ turn))
