"""A paper label with lines of print: on new rotors, and easily taken for a card."""

import numpy as np
import shapely

from sample_images_synthetic.studio.item import Part
from sample_images_synthetic.studio.reference_mesh import printed
from sample_images_synthetic.studio.shell import shell_of
from sample_images_synthetic.studio.solid import slab


def paper_label(rng: np.random.Generator) -> Part:
    """Make a label of 35 to 90 mm, lying on z = 0."""
    width, height = float(rng.uniform(35, 90)), float(rng.uniform(20, 45))
    mesh = shell_of(slab(shapely.box(-width / 2, -height / 2, width / 2, height / 2), 0.12), span_mm=width)
    pixels = np.full((round(height * 8), round(width * 8), 3), rng.choice([235, 225]), np.uint8)
    if rng.random() < 0.3:
        pixels[:] = rng.integers(120, 250, 3)
    for top in range(16, pixels.shape[0] - 30, 34):
        for left in range(16, round(pixels.shape[1] * float(rng.uniform(0.3, 0.95))), 22):
            pixels[top : top + int(rng.integers(10, 22)), left : left + int(rng.integers(6, 18))] = 40
    return Part(printed(mesh, (width, height), (0.0, 0.0)), "paper", texture=pixels)
