"""A wheel's lengths, drawn to suit the rotor behind it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from sample_images_synthetic.studio.rotor import Rotor


@dataclass(frozen=True)
class WheelSizes:
    """A wheel's lengths, mm.

    Attributes
    ----------
    inner, width : float
        Radius of its barrel, width of a spoke.
    face, depth : float
        Where its spokes begin, and how deep they are.
    """

    inner: float
    face: float
    width: float
    depth: float

    @classmethod
    def draw(cls, rng: np.random.Generator, rotor: Rotor) -> WheelSizes:
        """Draw a wheel that fits over a rotor."""
        inner = rotor.diameter_mm / 2 + float(rng.uniform(16, 40))
        face = rotor.hat_z_mm + float(rng.uniform(25, 45))
        return cls(inner, face, float(rng.uniform(18, 34)), float(rng.uniform(14, 26)))

    @property
    def bolts_z_mm(self) -> float:
        """Height of its bolts' heads."""
        return self.face + self.depth - 1
