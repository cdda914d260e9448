"""Drawing scenes: which kinds a set holds, and one scene of each kind from its seed."""

from collections.abc import Callable
from dataclasses import replace

import numpy as np

from sample_images_synthetic.studio.draw_bench import bench_scene
from sample_images_synthetic.studio.draw_car import car_scene
from sample_images_synthetic.studio.draw_edge import edge_scene
from sample_images_synthetic.studio.draw_first import first_scene
from sample_images_synthetic.studio.draw_refused import refused_scene
from sample_images_synthetic.studio.pattern import SURFACES, Surface
from sample_images_synthetic.studio.phone import tightened
from sample_images_synthetic.studio.scene import Scene

BASE_SEEDS = {"first": 300_000, "fitting": 100_000, "checking": 200_000}
PREFIXES = {"first": "s", "fitting": "f", "checking": "c"}
TRIES = 200

KINDS: tuple[tuple[str, int], ...] = (
    ("tag face", 16),
    ("card face", 11),
    ("coin face", 7),
    ("card hat", 2),
    ("card bench", 4),
    ("coin bench", 2),
    ("a4 bench", 4),
    ("letter bench", 2),
    ("bolt-circle hat", 5),
    ("edge card", 4),
    ("edge tag", 3),
    ("edge none", 4),
    ("car tag", 5),
    ("car card", 3),
    ("car bolt-circle", 3),
    ("car wheel", 2),
    ("refused none", 4),
    ("refused car", 1),
    ("refused rotorless", 2),
    ("refused bicycle", 1),
    ("refused pulley", 1),
    ("refused plate", 1),
    ("refused outside", 2),
    ("refused blur", 2),
    ("refused oblique", 1),
    ("refused far", 1),
    ("refused tags", 1),
)
"""Kinds of scene and their shares of a set; spread evenly over it."""

Drawer = Callable[[np.random.Generator, str, Surface], Scene | None]
DRAWERS: dict[str, Drawer] = {"edge": edge_scene, "car": car_scene, "refused": refused_scene}


def kind_of(number: int) -> str:
    """Kind of the scene with this number (from 1): the shares interleaved by the golden ratio."""
    names = [name for name, share in KINDS for _ in range(share)]
    return names[int((number * 0.6180339887 + 0.49) % 1.0 * len(names))]


def surface_of(number: int) -> Surface:
    """Surface kind of the scene with this number: each block of six holds all six."""
    return SURFACES[(number * 5 + number // 6) % len(SURFACES)]


def draw_scene(set_name: str, number: int) -> Scene:
    """Draw the scene ``number`` (from 1) of a set; the same arguments give the same scene.

    Raises
    ------
    ValueError
        For an unknown set or a number below 1.
    """
    if set_name not in BASE_SEEDS or number < 1:
        raise ValueError(f"a scene is first, fitting or checking and a number from 1, not {set_name!r} {number}")
    seed = BASE_SEEDS[set_name] + number
    rng = np.random.default_rng([seed, 1])
    if set_name == "first":
        return replace(first_scene(rng, number), id=f"s{number:02d}", set_name=set_name, seed=seed)
    kind = kind_of(number)
    drawer = DRAWERS.get(kind.split()[0], bench_scene)
    for _ in range(TRIES):
        scene = drawer(rng, kind.removeprefix("car ").removeprefix("refused "), surface_of(number))
        if scene is not None:
            return tightened(replace(scene, id=f"{PREFIXES[set_name]}{number:03d}", set_name=set_name, seed=seed))
    raise RuntimeError(f"no possible {kind} scene in {TRIES} tries: {set_name} {number}")
