"""Scenes of the edge: the rotor's thickness seen from its side."""

import math
from dataclasses import replace

import numpy as np

from sample_images_synthetic.studio.blank import blank
from sample_images_synthetic.studio.camera import Camera, look_at
from sample_images_synthetic.studio.draw_bench import draw_reference
from sample_images_synthetic.studio.pattern import Surface
from sample_images_synthetic.studio.phone import draw_camera, draw_delivery
from sample_images_synthetic.studio.placement import Placed, beside_edge
from sample_images_synthetic.studio.rotor import draw_rotor
from sample_images_synthetic.studio.scene import UP_BENCH, UP_WALL, Scene


def edge_scene(rng: np.random.Generator, kind: str, surface: Surface) -> Scene | None:
    """Draw the rotor's edge: lying on the bench, or standing on its rim."""
    word = kind.split()[1]
    rotor = draw_rotor(rng, surface=surface)
    standing = bool(rng.random() < 0.35)
    scene = replace(blank(rng, rotor, hat_up=True), group="edge", up=UP_WALL if standing else UP_BENCH)
    placed: tuple[Placed, ...] = ()
    if word != "none":
        placed = (
            beside_edge(rng, rotor, draw_reference(rng, word, int(rng.integers(24))), floor_axis=1 if standing else 2),
        )
    camera = _edge_camera(rng, scene, placed, standing)
    if camera is None:
        return None
    return replace(
        scene,
        camera=camera,
        placed=placed,
        reference_kind=word,
        reference_detail=" ".join(p.reference.detail for p in placed),
        lies="face" if placed else None,
        delivery=draw_delivery(rng, camera),
    )


def _edge_camera(rng: np.random.Generator, scene: Scene, placed: tuple[Placed, ...], standing: bool) -> Camera | None:
    """Look along the rotor's plane, a degree or two off it, from +x."""
    assert scene.rotor is not None
    camera, rotor = draw_camera(rng), scene.rotor
    if standing:
        camera = replace(camera, width=min(camera.width, camera.height), height=max(camera.width, camera.height))
    else:
        camera = replace(camera, width=max(camera.width, camera.height), height=min(camera.width, camera.height))
    points = np.concatenate([scene.rim_mm(), *[p.figure_mm() for p in placed]])
    lift = math.radians(float(rng.uniform(-1.0, 3.0) if standing else rng.uniform(0.3, 3.5)))
    aside = math.radians(float(rng.normal(0, 3)))
    direction = [math.cos(lift) * math.cos(aside), math.sin(aside), math.sin(lift)]
    distance = rotor.diameter_mm * 0.9
    roll = 90.0 if standing else 0.0
    for _ in range(60):
        pose = look_at([0, 0, -rotor.thickness_mm / 2], direction, distance, roll + float(rng.normal(0, 2)))
        stood = replace(camera, pose=pose)
        if stood.sees(points, 30):
            return stood
        distance *= 1.06
    return None
