"""The first eight samples: clean, natural, measurable; what a newcomer is shown."""

import math
from dataclasses import dataclass, replace

import numpy as np

from sample_images_synthetic.studio.blank import blank
from sample_images_synthetic.studio.camera import Camera
from sample_images_synthetic.studio.deliver import Delivery
from sample_images_synthetic.studio.develop import draw_development
from sample_images_synthetic.studio.draw_bench import laid, obstructed, referenced
from sample_images_synthetic.studio.iron import draw_finish
from sample_images_synthetic.studio.pattern import Band, Surface, draw_pattern
from sample_images_synthetic.studio.phone import NOWHERE
from sample_images_synthetic.studio.rotor import Rotor, draw_rotor
from sample_images_synthetic.studio.scene import Angles, Scene, framed


@dataclass(frozen=True)
class Plan:
    """What is not left to chance in one of the eight."""

    surface: Surface
    word: str
    tilt_deg: float
    ground: str
    light: str
    used: bool


FIRST = (
    Plan("slotted", "tag", 12.0, "wood", "window", used=False),
    Plan("drilled", "card", 20.0, "concrete", "shade", used=False),
    Plan("plain", "tag", 27.0, "cardboard", "garage", used=True),
    Plan("dimpled", "card", 6.0, "rubber", "mixed", used=False),
    Plan("drilled+slotted", "tag", 2.0, "painted", "shade", used=True),
    Plan("dimpled+slotted", "card", 16.0, "wood", "sun", used=False),
    Plan("slotted", "tag", 34.0, "asphalt", "shade", used=False),
    Plan("plain", "card", 23.0, "steel", "window", used=True),
)
ORIENTATIONS = (1, 6, 1, 1, 3, 1, 1, 8)


def first_scene(rng: np.random.Generator, number: int) -> Scene:
    """Draw one of the eight; ``number`` from 1."""
    while True:
        scene = _tried(rng, number)
        if scene is not None:
            break
    return replace(
        scene,
        finish=draw_finish(rng, used=FIRST[number - 1].used, clean=True),
        development=draw_development(rng, clean=True),
        delivery=Delivery(92, ORIENTATIONS[number - 1], round(scene.camera.f35_mm)),
    )


def _tried(rng: np.random.Generator, number: int) -> Scene | None:
    """Try one rotor, reference and camera; None where the reference does not fit or is hidden."""
    plan, hat_up = FIRST[number - 1], number != 5
    rotor: Rotor | None = draw_rotor(rng, surface=plan.surface, used=plan.used)
    if number == 1 and rotor:
        rotor = as_listed(rng, rotor)
    placed = laid(rng, f"{plan.word} face", rotor, hat_up=hat_up) if rotor else None
    if rotor is None or placed is None:
        return None
    scene = replace(blank(rng, rotor, hat_up=hat_up, plain=True), ground=plan.ground, light=plan.light)
    scene = referenced(scene, plan.word, placed, "face")
    size = (2016, 1512) if number % 2 else (1512, 2016)
    camera = Camera(float(rng.uniform(24, 28)), *size, 0.0, NOWHERE)
    camera = replace(camera, k1=round(float(rng.normal(0, 0.008)), 5))
    angles = Angles(plan.tilt_deg, float(rng.normal(-90, 25)), float(rng.normal(0, 4)))
    scene = replace(scene, camera=framed(rng, camera, scene.outline_mm(), angles=angles, fill=0.85))
    return None if obstructed(scene) else scene


def as_listed(rng: np.random.Generator, rotor: Rotor) -> Rotor | None:
    """Give the rotor the size of a front rotor of the demo catalogue: 330 x 24, slotted, vented, 5 x 108.

    None where the drawn one is too unlike (two-piece, solid, of another thickness).
    """
    if rotor.construction != "one-piece" or not rotor.vanes or abs(rotor.thickness_mm - 24) > 2:
        return None
    band = Band(212.0 / 2, 330.0 / 2 - rotor.chamfer_mm)
    return replace(
        rotor,
        diameter_mm=330.0,
        thickness_mm=24.0,
        swept_thickness_mm=24.0,
        height_mm=49.6,
        ring_inner_mm=2 * band.inner_mm,
        hat_mm=168.0,
        centre_bore_mm=63.5,
        bolt_count=5,
        bolt_circle_mm=108.0,
        swept_outer_mm=2 * band.outer_mm,
        swept_inner_mm=2 * band.inner_mm,
        locating_holes=tuple((d, 108.0, math.pi / 5 * (1 + 2 * i)) for i, (d, *_) in enumerate(rotor.locating_holes)),
        pattern=draw_pattern(rng, rotor.surface, band),
    )
