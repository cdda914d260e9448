"""The friction ring's iron: turning marks, the unworn lip, rust, deposit, dirt.

Maps of the face are polar: rows run round the ring, columns from ``inner_mm`` to ``outer_mm``.
"""

import math
from dataclasses import dataclass

import cv2
import numpy as np

from sample_images_synthetic.studio.material import RUSTS, Surface, tinted
from sample_images_synthetic.studio.noise import FloatImage, blobs, blurred, mixed, octaves, rgb, speckle
from sample_images_synthetic.studio.rotor import Rotor

ROUND, ACROSS = 2048, 512


@dataclass(frozen=True)
class Finish:
    """What time has done to a friction face; shares and strengths 0 to 1.

    Attributes
    ----------
    brightness : float
        Specular reflectance of the bare iron.
    roughness : float
        Of the bare iron.
    marks : float
        Depth of the turning marks.
    scoring : float
        Grooves worn by the pads.
    face_rust, deposit, dust, oil, dirt : float
        Flash rust on the swept band, pad material, dust, oil, spots that mimic holes.
    chalk : int
        Strokes of chalk on the face.
    lip_rust : float
        Rust outside the pads' sweep and on the wall.
    """

    brightness: float
    roughness: float
    marks: float
    scoring: float
    face_rust: float
    deposit: float
    dust: float
    oil: float
    dirt: int
    chalk: int
    lip_rust: float


def draw_finish(rng: np.random.Generator, *, used: bool, clean: bool = False, chalk: bool = True) -> Finish:
    """Draw a finish: new rotors shine, used ones are scored, deposited and rusty at the edges.

    ``clean`` leaves out dust, oil, dirt and rust on the face; ``chalk`` allows a mechanic's strokes on it.
    """
    grime = 0.0 if clean else float(rng.beta(1.2, 2.5))
    rust = float(rng.choice([0, 0.05, 0.25, 0.6], p=[0.5, 0.25, 0.15, 0.1])) if used and not clean else 0.0
    return Finish(
        brightness=float(rng.uniform(0.4, 0.65)),
        roughness=float(rng.uniform(0.36, 0.55)),
        marks=float(rng.uniform(0.3, 1.0)),
        scoring=float(rng.beta(1.2, 3)) if used else 0.0,
        face_rust=rust,
        deposit=float(rng.uniform(0, 0.6)) if used else 0.0,
        dust=0.35 * grime,
        oil=float(rng.choice([0, 0, 0.15])) if not clean else 0.0,
        dirt=int(rng.choice([0, 0, 6, 25])) if not clean else 0,
        chalk=int(rng.choice([0, 3], p=[0.93, 0.07])) if chalk and not clean else 0,
        lip_rust=float(rng.uniform(0.35, 1.0)) if used else float(rng.choice([0.0, 0.0, 0.2])),
    )


def face_span_mm(rotor: Rotor) -> tuple[float, float]:
    """Radii that the face's polar maps cover."""
    return rotor.ring_inner_mm / 2 - 6.0, rotor.diameter_mm / 2 + 1.0


def friction_face(rotor: Rotor, finish: Finish, rng: np.random.Generator) -> Surface:
    """Make the face's material as polar maps."""
    shape = (ROUND, ACROSS)
    inner, outer = face_span_mm(rotor)
    radius = np.linspace(inner, outer, ACROSS, dtype=np.float32)[None, :]
    rings = _rings(rng, finish.marks)
    patchy = octaves(rng, shape, 4)
    level = finish.brightness * (0.85 + 0.2 * rings + 0.1 * patchy)
    colour = level[..., None] * rgb([1.0, 0.985, 0.96])
    roughness = finish.roughness * (0.9 + 0.25 * patchy + 0.1 * rings)
    metallic = np.ones(shape, np.float32)
    grooves = _grooves(rng, finish.scoring)
    colour *= 1 - 0.45 * grooves[..., None]
    surface = _Layers(colour.astype(np.float32), roughness.astype(np.float32), metallic, 0 * metallic)
    _deposit(surface, rng, finish)
    _rust(surface, rng, rotor, finish, radius)
    _dirt(surface, rng, finish, (inner, outer))
    _chalk(surface, rng, finish)
    bump = 0.012 * finish.marks * rings - 0.05 * grooves + 0.02 * surface.rust * speckle(rng, shape, 1.0)
    return Surface(
        np.clip(surface.colour, 0.005, 0.95),
        np.clip(surface.roughness, 0.12, 1.0),
        np.clip(surface.metallic, 0, 1),
        bump.astype(np.float32),
        anisotropic=float(rng.uniform(0.6, 0.95)),
        clearcoat=finish.oil,
    )


@dataclass
class _Layers:
    """Maps under construction."""

    colour: FloatImage
    roughness: FloatImage
    metallic: FloatImage
    rust: FloatImage

    def cover(self, colour: FloatImage, roughness: float, weight: FloatImage) -> None:
        """Lay a non-metal over the face where ``weight`` is not 0."""
        self.colour = mixed(self.colour, colour, weight)
        self.roughness = mixed(self.roughness, np.full(weight.shape, roughness, np.float32), weight)
        self.metallic = (self.metallic * (1 - weight)).astype(np.float32)


def _rings(rng: np.random.Generator, marks: float) -> FloatImage:
    """Draw turning marks: lines of one radius each, hardly changing round the ring."""
    line = rng.standard_normal((1, ACROSS)).astype(np.float32)
    line += 0.7 * cv2.GaussianBlur(rng.standard_normal((1, ACROSS)).astype(np.float32), (0, 0), 3) * 3
    wobble = octaves(rng, (ROUND, ACROSS), 8, 0.8)
    fine = speckle(rng, (ROUND, ACROSS), 0)
    fine = blurred(fine, 0, 12)
    fine /= max(float(fine.std()), 1e-6)
    field = 0.5 + marks * (0.13 * line + 0.12 * fine) + 0.2 * (wobble - 0.5)
    return np.clip(field, 0, 1).astype(np.float32)


def _grooves(rng: np.random.Generator, scoring: float) -> FloatImage:
    """Score lines: a few radii, dark, a millimetre wide at most."""
    line = np.zeros((1, ACROSS), np.float32)
    for _ in range(int(scoring * 40)):
        centre, width = rng.integers(ACROSS), rng.uniform(0.6, 3.5)
        line += rng.uniform(0.2, 1.0) * np.exp(-(((np.arange(ACROSS) - centre) / width) ** 2))
    strength = 0.7 + 0.3 * octaves(rng, (ROUND, ACROSS), 4)
    return np.clip(line * strength, 0, 1).astype(np.float32)


def _deposit(layers: _Layers, rng: np.random.Generator, finish: Finish) -> None:
    """Pad material: a grey film, stronger in some bands and patches."""
    if finish.deposit <= 0:
        return
    patches = octaves(rng, (ROUND, ACROSS), 3, 0.6)
    bands = cv2.resize(rng.random((1, 12)).astype(np.float32), (ACROSS, 1), interpolation=cv2.INTER_CUBIC)
    weight = np.clip(finish.deposit * (0.3 + patches * (0.4 + 0.8 * bands)), 0, 0.85).astype(np.float32)
    film = np.broadcast_to(rgb([0.16, 0.155, 0.15]), layers.colour.shape)
    layers.colour = mixed(layers.colour, film, weight)
    layers.roughness = np.clip(layers.roughness + 0.1 * weight, 0, 1)


def _rust(layers: _Layers, rng: np.random.Generator, rotor: Rotor, finish: Finish, radius_mm: FloatImage) -> None:
    """Rust: where no pad sweeps, and as a flash on the swept band."""
    shape = (ROUND, ACROSS)
    edge = 0.5 * (octaves(rng, shape, 32) - 0.5)
    unswept = np.clip((radius_mm + edge - rotor.swept_outer_mm / 2) / 0.4 + 0.5, 0, 1)
    unswept = np.maximum(unswept, np.clip((rotor.swept_inner_mm / 2 - radius_mm - edge) / 0.4 + 0.5, 0, 1))
    patchy = np.clip(finish.lip_rust * 1.6 - 0.8 * octaves(rng, shape, 8), 0, 1)
    flash = blobs(rng, shape, finish.face_rust, 6) * rng.uniform(0.4, 0.9)
    weight = np.maximum(unswept * patchy, flash).astype(np.float32)
    dark, light = RUSTS[rng.integers(len(RUSTS))], RUSTS[rng.integers(len(RUSTS))]
    layers.cover(tinted(octaves(rng, shape, 16, 0.7), dark, light), 0.85, weight)
    layers.rust = weight
    film = np.full(shape, finish.dust, np.float32) * (0.5 + octaves(rng, shape, 6))
    dust = np.broadcast_to(rgb([0.13, 0.105, 0.085]), layers.colour.shape)
    layers.cover(dust.astype(np.float32), 0.9, np.clip(film, 0, 0.8).astype(np.float32))


def _dirt(layers: _Layers, rng: np.random.Generator, finish: Finish, span_mm: tuple[float, float]) -> None:
    """Dark spots of the size of drilled holes, without their regular spacing."""
    weight = np.zeros((ROUND, ACROSS), np.float32)
    inner, outer = span_mm
    for _ in range(finish.dirt):
        r, size = rng.uniform(inner + 8, outer - 4), rng.uniform(0.6, 4.0)
        axes = (size / (outer - inner) * ACROSS, size / (2 * math.pi * r) * ROUND)
        centre = (round((r - inner) / (outer - inner) * ACROSS), int(rng.integers(ROUND)))
        one = (max(round(axes[0] * rng.uniform(0.6, 1.2)), 1), max(round(axes[1]), 1))
        cv2.ellipse(weight, centre, one, float(rng.uniform(-40, 40)), 0, 360, float(rng.uniform(0.5, 1)), -1)
    soft = np.asarray(cv2.GaussianBlur(weight, (0, 0), 1.5), np.float32)
    grime = np.broadcast_to(rgb([0.03, 0.025, 0.02]), layers.colour.shape)
    layers.cover(grime.astype(np.float32), 0.6, soft)


def _chalk(layers: _Layers, rng: np.random.Generator, finish: Finish) -> None:
    """Draw a few white strokes, broken by the surface's grain."""
    if not finish.chalk:
        return
    weight = np.zeros((ROUND, ACROSS), np.float32)
    row = int(rng.integers(ROUND))
    for _ in range(finish.chalk):
        points = np.cumsum(rng.normal(0, 40, (4, 2)), axis=0)
        points += np.array([rng.uniform(0.3, 0.7) * ACROSS, row + rng.normal(0, 80)])
        cv2.polylines(weight, [points.astype(np.int32)], False, 0.9, int(rng.integers(8, 16)))
    weight *= np.clip(0.7 + 0.4 * speckle(rng, weight.shape, 1.0), 0, 1)
    layers.cover(np.full(layers.colour.shape, 0.75, np.float32), 0.95, weight.astype(np.float32))
