"""Scenes on the car: the wheel is off (or is looked through), a caliper hides a part of the rim."""

import math
from dataclasses import replace

import numpy as np

from sample_images_synthetic.studio.blank import blank
from sample_images_synthetic.studio.camera import Camera
from sample_images_synthetic.studio.draw_bench import draw_reference, obstructed, referenced
from sample_images_synthetic.studio.pattern import Surface
from sample_images_synthetic.studio.phone import draw_camera, draw_delivery
from sample_images_synthetic.studio.placement import Placed, on_face, turned
from sample_images_synthetic.studio.rotor import Rotor, draw_rotor
from sample_images_synthetic.studio.scene import UP_WALL, Angles, Prop, Scene, framed

NO_OFFSET = np.zeros(3)
CALIPER_ROOM_RAD = math.radians(70)
"""Half of a caliper's sector with room for a card beside it."""


def car_scene(rng: np.random.Generator, kind: str, surface: Surface) -> Scene | None:
    """Draw a scene; ``kind`` is tag, card, bolt-circle, wheel (a tag between the spokes) or none."""
    rotor = draw_rotor(rng, surface=surface)
    scene = replace(blank(rng, rotor, hat_up=True), group="on-car", up=UP_WALL, light=str(rng.choice(CAR_LIGHTS)))
    at_rad = float(rng.choice([0.0, math.pi]) + rng.normal(0, 0.5))
    behind_wheel = kind == "wheel"
    word = "tag" if behind_wheel else kind
    props = car_props(rng, at_rad, behind_wheel=behind_wheel, angle_rad=scene.spin_rad)
    placed, told, held = held_reference(rng, word, rotor, at_rad)
    if placed is None:
        return None
    if behind_wheel:
        props = (*props, wheel_over(rng, placed[0]))
    scene = replace(referenced(scene, word, placed, "face"), props=(*props, *held), told=told)
    scene = replace(scene, camera=_from_the_side(rng, scene, most_deg=10.0 if behind_wheel else 38.0))
    if obstructed(scene):
        return None
    return replace(scene, delivery=draw_delivery(rng, scene.camera))


def wheel_over(rng: np.random.Generator, seen: Placed) -> Prop:
    """Put a wheel in front that leaves a reference between two of its spokes."""
    where, spokes = math.atan2(seen.offset_mm[1], seen.offset_mm[0]), int(rng.integers(5, 9))
    between = turned(where + math.pi / spokes)
    return Prop(f"spoked_wheel {spokes}", int(rng.integers(2**31)), between, NO_OFFSET)


def _from_the_side(rng: np.random.Generator, scene: Scene, *, most_deg: float) -> Camera:
    """Squat before the wheel arch."""
    camera = draw_camera(rng)
    tilt = most_deg * float(rng.beta(1.4, 1.8))
    angles = Angles(tilt, float(rng.uniform(0, 360)), float(rng.normal(0, 7)))
    return framed(rng, camera, scene.outline_mm(), angles=angles, fill=float(rng.uniform(0.6, 0.92)))


CAR_LIGHTS = ("shade", "shade", "sun", "garage", "garage", "window", "lamp", "flash", "mixed")


def car_props(
    rng: np.random.Generator, caliper_rad: float, *, behind_wheel: bool, angle_rad: float
) -> tuple[Prop, ...]:
    """Caliper, hub, and mostly a shield and the arch; the hub's studs turn with the rotor."""
    names = ["caliper"] if behind_wheel else ["caliper", "hub"]
    names += ["dust_shield"] if rng.random() < 0.7 else []
    names += ["wheel_arch"] if not behind_wheel and rng.random() < 0.85 else []
    turns = {"caliper": caliper_rad, "hub": angle_rad, "dust_shield": caliper_rad + math.pi + float(rng.normal(0, 0.3))}
    return tuple(Prop(n, int(rng.integers(2**31)), turned(turns.get(n, 0.0)), NO_OFFSET) for n in names)


Held = tuple[tuple[Placed, ...] | None, dict[str, float], tuple[Prop, ...]]


def held_reference(rng: np.random.Generator, kind: str, rotor: Rotor, caliper_rad: float) -> Held:
    """Hold a reference on the vertical face by tape or a flat magnet, and tell its lift."""
    if kind in ("bolt-circle", "none"):
        return (), {}, ()
    angle = caliper_rad + math.pi + float(rng.uniform(-1, 1)) * (math.pi - CALIPER_ROOM_RAD)
    reference = draw_reference(rng, kind, int(rng.integers(24)))
    means = str(rng.choice(["tape_strip", "flat_magnet", "tape_over"]))
    lift = {"tape_strip": float(rng.uniform(0.1, 0.3)), "flat_magnet": float(rng.uniform(0.8, 4.0))}.get(means, 0.0)
    flat = on_face(rng, rotor, reference, angle, hat_up=True)
    if flat is None:
        return None, {}, ()
    if means == "tape_over":
        return (flat,), {}, ()
    lifted = replace(flat, offset_mm=flat.offset_mm + np.array([0, 0, lift]))
    prop = Prop(f"{means} {lift:.4f}", int(rng.integers(2**31)), flat.rotation, flat.offset_mm)
    return (lifted,), {"lift_mm": round(lift, 1)}, (prop,)
