"""Scenes that must be refused, with the codes that fit."""

import math
from dataclasses import replace

import numpy as np

from sample_images_synthetic.studio.blank import blank
from sample_images_synthetic.studio.camera import look_at, tilted
from sample_images_synthetic.studio.deliver import Delivery
from sample_images_synthetic.studio.draw_bench import bench_scene, refused
from sample_images_synthetic.studio.draw_car import car_scene
from sample_images_synthetic.studio.pattern import Surface
from sample_images_synthetic.studio.phone import draw_camera
from sample_images_synthetic.studio.placement import Placed, turned
from sample_images_synthetic.studio.reference import Tag, draw_card
from sample_images_synthetic.studio.rotor import draw_rotor
from sample_images_synthetic.studio.scene import Prop, Scene

INSTEAD = {
    "rotorless": ("tyre", "lid", "cup", "spanner", "tape_roll"),
    "bicycle": ("bicycle_disc",),
    "pulley": ("pulley",),
    "plate": ("plate",),
}
"""What lies there in a rotor's place."""


def refused_scene(rng: np.random.Generator, kind: str, surface: Surface) -> Scene | None:
    """Draw a negative of one kind (see ``draw.KINDS``); None where this try is not possible."""
    if kind in INSTEAD:
        return rotorless(rng, kind, surface)
    if kind == "none":
        return bench_scene(rng, "none", surface)
    if kind == "car":
        scene = car_scene(rng, "none", surface)
        return scene and refused(scene, "no-reference")
    if kind == "tags":
        return contradicting(rng, surface)
    scene = bench_scene(rng, str(rng.choice(["tag face", "card face"])), surface)
    return scene and CHANGES[kind](rng, scene)


def rotorless(rng: np.random.Generator, kind: str, surface: Surface) -> Scene:
    """Something else beside a card: no rotor."""
    ghost = draw_rotor(rng, surface=surface)
    scene = blank(rng, ghost, hat_up=True)
    name = str(rng.choice(INSTEAD[kind]))
    things = [Prop(name, int(rng.integers(2**31)), turned(float(rng.uniform(0, 6))), np.zeros(3))]
    a = float(rng.uniform(0, 2 * math.pi))
    gap = {"tyre": 390.0, "plate": 195.0, "pulley": 210.0, "bicycle_disc": 175.0, "lid": 185.0}.get(name, 165.0)
    card = Placed(draw_card(rng), turned(float(rng.uniform(0, 6))), gap * np.array([math.cos(a), math.sin(a), 0.0]))
    middle = 0.5 * card.offset_mm
    direction = tilted(35 * float(rng.beta(1.3, 2)), float(rng.normal(-90, 30)))
    camera = draw_camera(rng)
    distance = 2.3 * gap * camera.f35_mm / 26
    camera = replace(camera, pose=look_at(middle, direction, distance, float(rng.normal(0, 6))))
    return refused(
        replace(
            scene,
            rotor=None,
            placed=(card,),
            props=tuple(things),
            camera=camera,
            reference_kind="card",
            reference_detail=card.reference.detail,
            lies="bench",
            delivery=Delivery(int(rng.integers(78, 95)), 1, round(camera.f35_mm)),
        ),
        "no-rotor",
    )


def contradicting(rng: np.random.Generator, surface: Surface) -> Scene | None:
    """Two or three tags of which one was printed at another scale: no scale can be trusted."""
    scene = bench_scene(rng, "tag face", surface)
    if scene is None or len(scene.placed) < 2:
        return None
    first = scene.placed[0]
    if not isinstance(first.reference, Tag):
        return None
    shrunk = replace(first.reference, black_mm=first.reference.black_mm * float(rng.uniform(0.88, 0.94)))
    return refused(replace(scene, placed=(replace(first, reference=shrunk), *scene.placed[1:])), "disagreement")


def _outside(rng: np.random.Generator, scene: Scene) -> Scene | None:
    """Too near and off centre: most of the rim is not in the picture."""
    camera, rotor = scene.camera, scene.rotor
    if rotor is None:
        return None
    a = float(rng.uniform(0, 2 * math.pi))
    target = rotor.diameter_mm * 0.42 * np.array([math.cos(a), math.sin(a), 0])
    direction = tilted(25 * float(rng.random()), -90)
    near = replace(camera, pose=look_at(target, direction, 0.62 * rotor.diameter_mm * camera.f35_mm / 26, 0.0))
    xy = near.project(scene.rim_mm())
    inside = np.all((xy > 0) & (xy < [near.width, near.height]), axis=1).mean()
    if not 0.05 < inside < 0.3:
        return None
    return refused(replace(scene, camera=near, delivery=_plain(rng, scene)), "rim-out-of-frame", "no-rotor")


def _blurred(rng: np.random.Generator, scene: Scene) -> Scene:
    """Hopelessly out of focus, or shaken."""
    how = scene.development
    if rng.random() < 0.5:
        how = replace(how, defocus_px=float(rng.uniform(14, 24)))
    else:
        how = replace(how, motion_px=float(rng.uniform(50, 90)))
    return refused(replace(scene, development=how), "blurred")


def _oblique(rng: np.random.Generator, scene: Scene) -> Scene | None:
    """From far aside: the ring is a sliver."""
    if scene.rotor is None:
        return None
    direction = tilted(float(rng.uniform(72, 78)), float(rng.normal(-90, 20)))
    distance = 2.2 * scene.rotor.diameter_mm * scene.camera.f35_mm / 26
    camera = replace(scene.camera, pose=look_at([0, 0, 0], direction, distance, 0.0))
    return refused(replace(scene, camera=camera, delivery=_plain(rng, scene)), "too-oblique", "no-reference")


def _far(rng: np.random.Generator, scene: Scene) -> Scene | None:
    """From across the yard: the rim spans a hundred pixels."""
    if scene.rotor is None:
        return None
    wanted_px = float(rng.uniform(60, 110))
    distance = scene.camera.focal_px * scene.rotor.diameter_mm / wanted_px
    direction = tilted(scene.camera.pose.tilt_deg, -90)
    camera = replace(scene.camera, pose=look_at([80, 40, 0], direction, distance, 0.0))
    return refused(replace(scene, camera=camera, delivery=_plain(rng, scene)), "too-small", "no-reference", "no-rotor")


def _plain(rng: np.random.Generator, scene: Scene) -> Delivery:
    """Send the phone's own file, uncut."""
    return Delivery(int(rng.integers(80, 95)), 1, round(scene.camera.f35_mm))


CHANGES = {"outside": _outside, "blur": _blurred, "oblique": _oblique, "far": _far}
