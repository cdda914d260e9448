"""Surface features of drawn rotors, for the fit: many looks at little cost, beside the rendered photos."""

import numpy as np

from sample_images_synthetic.studio.pattern import SURFACES
from sample_images_synthetic.studio.rotor import draw_rotor
from tests.vision.drawn import as_sent, draw_face, draw_look, tilted, with_caliper
from vision.ring import lay_flat
from vision.surface import find_marks, read_features


def drawn_example(seed: int) -> tuple[str, dict[str, float]]:
    """Draw one rotor and read its features, as a photo's are, with the errors a fitted scene may have."""
    rng = np.random.default_rng([0xD1, seed])
    surface = SURFACES[seed % len(SURFACES)]
    rotor, look = draw_rotor(rng, surface=surface), draw_look(rng)
    bgr, face = draw_face(rng, rotor, look, float(np.exp(rng.uniform(np.log(0.9), np.log(2.4)))))
    if rng.random() < 0.7:
        bgr, face = tilted(bgr, face, float(np.radians(rng.uniform(0, 40))), float(rng.uniform(0, 2 * np.pi)))
    if rng.random() < 0.3:
        bgr = with_caliper(rng, bgr, face, float(np.radians(rng.uniform(50, 95))))
    bgr = as_sent(rng, bgr, int(rng.integers(50, 96)))
    inner = rotor.ring_inner_mm / 2 * rng.uniform(0.99, 1.05)
    ring = lay_flat(bgr, face, (inner, rotor.diameter_mm / 2 * rng.uniform(0.97, 0.99)))
    return surface, read_features(ring, *find_marks(ring))
