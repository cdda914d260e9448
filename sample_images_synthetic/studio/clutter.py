"""Things that lie about on a bench, each standing on z = 0 with its middle near the origin.

``bench_thing(rng, name)`` makes any of `BENCH_THINGS`; `ROUND_THINGS` are those whose outline is a circle and that
a measurement must not take for a rotor.
"""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import manifold3d
import numpy as np
import shapely
from numpy.typing import NDArray

from sample_images_synthetic.studio.car_parts import part, tyre_solid
from sample_images_synthetic.studio.grid import grid_faces
from sample_images_synthetic.studio.item import Colour, Finish, Item
from sample_images_synthetic.studio.solid import (
    Manifold,
    Profile,
    around,
    cylinder,
    rounded_slab,
    slab,
    tube,
    turned,
    united,
)

Maker = Callable[[np.random.Generator], Item]

CHROME: Colour = (0.55, 0.55, 0.56)


def bench_thing(rng: np.random.Generator, name: str) -> Item:
    """Make one of `BENCH_THINGS`; `ValueError` names them when it is none."""
    if name not in BENCH_THINGS:
        raise ValueError(f"a thing on the bench is one of {', '.join(BENCH_THINGS)}, not {name!r}")
    return BENCH_THINGS[name](rng)


def any_colour(rng: np.random.Generator) -> Colour:
    """Draw a colour, mostly dull, seldom bright."""
    bright = rng.uniform(0.02, 0.7, 3)
    r, g, b = (float(c) for c in bright.mean() + rng.beta(1.2, 2.0) * (bright - bright.mean()))
    return (r, g, b)


def spanner(rng: np.random.Generator) -> Item:
    """Make a combination spanner along x."""
    size, length = float(rng.uniform(10, 24)), float(rng.uniform(130, 260))
    half = length / 2
    jaw = shapely.Point(half, 0).buffer(size * 1.05) - shapely.box(
        half - 0.2 * size, -size / 2, half + 2 * size, size / 2
    )
    eye = shapely.Point(-half, 0).buffer(size * 0.95)
    shaft = shapely.box(-half, -size * 0.36, half - size * 0.5, size * 0.36)
    hexagon = shapely.Polygon(
        [(np.cos(a) * size * 0.58 - half, np.sin(a) * size * 0.58) for a in np.arange(6) * np.pi / 3]
    )
    outline = shapely.union_all([jaw, eye, shaft]).buffer(3).buffer(-3) - hexagon
    return {"spanner": part(slab(outline, 0.35 * size + 2), "metal", CHROME)}


def screwdriver(rng: np.random.Generator) -> Item:
    """Make a screwdriver lying along x."""
    grip, shaft = float(rng.uniform(80, 120)), float(rng.uniform(60, 180))
    r = float(rng.uniform(11, 17))
    handle_profile = [
        (0.0, 0.0),
        (r * 0.8, 0.0),
        (r, 8.0),
        (r, 0.6 * grip),
        (r * 0.7, 0.75 * grip),
        (r * 0.9, grip),
        (0.0, grip),
    ]
    flutes = around(cylinder(7, 0.55 * grip, z_mm=6), 6, radius_mm=r + 2)
    handle = turned(handle_profile, 48) - united(flutes)
    blade = cylinder(6, shaft, z_mm=grip - 1, segments=24)
    tip = Manifold.cube((7, 1.2, 10), True).translate((0, 0, grip + shaft))
    colour = any_colour(rng)
    lay = (0, 90, 0)
    return {
        "handle": part(handle.rotate(lay).translate((-grip, 0, r)), "plastic", colour),
        "blade": part((blade + tip).rotate(lay).translate((-grip, 0, r)), "metal", CHROME),
    }


def hammer(rng: np.random.Generator) -> Item:
    """Make a hammer, its handle along x."""
    length, r = float(rng.uniform(260, 340)), float(rng.uniform(11, 15))
    handle = tube([(-length / 2, 0, r), (0, 0, r), (length / 2, 0, r)], [2 * r, 1.5 * r, 1.7 * r])
    face = shapely.Point(0, 0).buffer(1.3 * r)
    head = rounded_slab(face, 62, 2).translate((0, 0, -42)) + Manifold.cube((22, 20, 44), True).translate((0, 0, 34))
    head = head.rotate((90, 0, 0)).translate((length / 2 - 6, 0, 1.3 * r))
    return {"handle": part(handle, "wood", (0.32, 0.2, 0.1)), "head": part(head, "metal", (0.16, 0.16, 0.17))}


def wheel_nuts(rng: np.random.Generator) -> Item:
    """Strew a handful of nuts."""
    nut = cylinder(24, 18, segments=6) - cylinder(12, 20, z_mm=-1, segments=32)
    spots = rng.uniform(-70, 70, (int(rng.integers(3, 7)), 2))
    kept = [p for i, p in enumerate(spots) if all(np.hypot(*(p - q)) > 26 for q in spots[:i])]
    nuts = [nut.rotate((0, 0, float(rng.uniform(0, 60)))).translate((float(x), float(y), 0)) for x, y in kept]
    return {"nuts": part(united(nuts), "metal", (0.3, 0.3, 0.3))}


def cable(rng: np.random.Generator) -> Item:
    """Make a length of cable in loose bends."""
    steps = np.cumsum(rng.normal(0, 0.5, 26))
    path = np.cumsum(np.column_stack([18 * np.cos(steps), 18 * np.sin(steps)]), axis=0)
    width = float(rng.uniform(6, 10))
    path_mm = np.column_stack([path - path.mean(axis=0), np.full(len(path), width / 2)])
    return {
        "cable": part(
            tube(path_mm, width, segments=16), "rubber", any_colour(rng) if rng.random() < 0.4 else (0.02,) * 3
        )
    }


def hand(rng: np.random.Generator) -> Item:
    """Make a hand lying palm down, fingers towards +x, gloved or bare; 180 mm long."""
    palm = Manifold.batch_hull(
        [Manifold.sphere(13, 24).translate(p) for p in ((0, -30, 15), (0, 30, 15), (75, -34, 14), (75, 32, 14))]
    )
    wrist = tube([(-5, 0, 17), (-150, 10, 24)], [56.0, 62.0], segments=32).scale((1, 1, 0.72)).translate((0, 0, 8))
    fingers = []
    for y, length in ((-31, 68), (-10, 80), (11, 76), (31, 60)):
        spread, bend = 0.12 * y / 10 + rng.normal(0, 1.5), rng.uniform(2, 10)
        joints = [(76, y, 15), (76 + 0.45 * length, y + 4 * spread, 15 + bend), (76 + length, y + 8 * spread, 9.0)]
        fingers.append(tube(joints, [20.0, 18.0, 15.0]))
    thumb = tube([(18, -34, 15), (48, -62, 14), (78, -70, 11)], [26.0, 21.0, 17.0])
    glove = rng.random() < 0.3
    tone = float(rng.uniform(0.12, 0.75))
    colour = any_colour(rng) if glove else (tone, tone * 0.68, tone * 0.52)
    return {"hand": part(united([palm, wrist, thumb, *fingers]), "rubber" if glove else "skin", colour)}


def revolved(profile: Profile, finish: Finish, colour: Colour, name: str) -> Item:
    """Make an item of one turned part."""
    return {name: part(turned(profile, 360), finish, colour)}


def tyre(rng: np.random.Generator) -> Item:
    """Make a tyre lying on its side."""
    solid = tyre_solid(float(rng.uniform(190, 240)), float(rng.uniform(80, 120)), width_mm=float(rng.uniform(185, 245)))
    return {"tyre": part(solid, "rubber", (0.025, 0.025, 0.026))}


def lid(rng: np.random.Generator) -> Item:
    """Make a round lid of a tin or pot, rim up or down."""
    r, h = float(rng.uniform(60, 170)), float(rng.uniform(8, 20))
    profile = [
        (0.0, h - 5),
        (0.8 * r, h - 5),
        (0.82 * r, h - 9),
        (r - 6, h - 9),
        (r - 4, h),
        (r, h - 1),
        (r, 0.0),
        (r - 2, 0.0),
    ]
    profile += [(r - 3, h - 11), (0.8 * r, h - 11), (0.78 * r, h - 7), (0.0, h - 7)]
    metal = rng.random() < 0.5
    return revolved(profile[::-1], "metal" if metal else "plastic", CHROME if metal else any_colour(rng), "lid")


def plate(rng: np.random.Generator) -> Item:
    """Make a dinner plate."""
    r, h = float(rng.uniform(90, 160)), float(rng.uniform(16, 26))
    profile = [(0.0, 2.0), (0.55 * r, 2.0), (0.58 * r, 0.0), (0.6 * r, 0.0), (r, h - 3), (r + 1, h - 1), (r, h)]
    profile += [(0.66 * r, 10.0), (0.6 * r, 6.0), (0.0, 6.0)]
    pale = float(rng.uniform(0.5, 0.8))
    return revolved(profile, "plastic", (pale, pale, pale * 0.97), "plate")


def pulley(rng: np.random.Generator) -> Item:
    """Make a belt pulley with ribs round its rim and holes in its web: round, drilled, but no rotor."""
    r, h, ribs = float(rng.uniform(70, 130)), float(rng.uniform(24, 40)), int(rng.integers(4, 8))
    pitch = (h - 8) / ribs
    rim = [(r - 12, 0.0), (r, 0.0), (r, 4.0)]
    for i in range(ribs):
        rim += [(r - 4, 4 + pitch * (i + 0.5)), (r, 4 + pitch * (i + 1))]
    profile = [
        *rim,
        (r, h),
        (r - 12, h),
        (r - 14, 0.6 * h),
        (32, 0.6 * h),
        (30, h + 4),
        (12, h + 4),
        (12, 0.0),
        (30, 0.0),
    ]
    profile += [(32, 0.35 * h), (r - 14, 0.35 * h)]
    count = int(rng.integers(3, 7))
    middle = (r - 14 + 32) / 2
    hole = cylinder(float(rng.uniform(0.5, 0.9)) * (r - 50), h + 10, z_mm=-2)
    body = turned(profile, 360) - united(around(hole, count, radius_mm=middle))
    return {"pulley": part(body, "metal", (0.3, 0.3, 0.31))}


def bicycle_disc(rng: np.random.Generator) -> Item:
    """Make a bicycle's thin disc: 140 to 203 mm, 1.8 mm thick, pierced all round, six holes on 44 mm."""
    r = float(rng.choice([140.0, 160.0, 180.0, 203.0])) / 2
    width = float(rng.uniform(13, 17))
    ring = shapely.Point(0, 0).buffer(r, quad_segs=90) - shapely.Point(0, 0).buffer(r - width, quad_segs=90)
    centre = shapely.Point(0, 0).buffer(28) - shapely.Point(0, 0).buffer(17)
    lean = float(rng.uniform(0.4, 0.9)) * float(rng.choice([-1, 1]))
    arm = shapely.LineString([(24, 0), ((r - width + 2) * np.cos(lean), (r - width + 2) * np.sin(lean))]).buffer(4)
    arms = [shapely.affinity.rotate(arm, 60 * i, origin=(0, 0)) for i in range(6)]
    count = int(rng.integers(18, 36))
    slit = shapely.LineString([(r - width + 4, 0), (r - 4, 3)]).buffer(float(rng.uniform(1.5, 3)))
    slits = [shapely.affinity.rotate(slit, 360 * i / count, origin=(0, 0)) for i in range(count)]
    bolts = [shapely.Point(22 * np.cos(a), 22 * np.sin(a)).buffer(2.6) for a in np.arange(6) * np.pi / 3]
    outline = shapely.union_all([ring, centre, *arms]) - shapely.union_all([*slits, *bolts])
    return {"disc": part(slab(outline, 1.8), "metal", CHROME)}


def cup(rng: np.random.Generator) -> Item:
    """Make a mug without its handle turned to the camera: a tall round thing."""
    r, h = float(rng.uniform(36, 46)), float(rng.uniform(80, 110))
    profile = [(0.0, 0.0), (r, 0.0), (r, h), (r - 4, h), (r - 4, 6.0), (0.0, 6.0)]
    return revolved(profile, "plastic", any_colour(rng), "cup")


def tape_roll(rng: np.random.Generator) -> Item:
    """Make a roll of tape lying flat: a ring with a wide bore."""
    r, h = float(rng.uniform(45, 75)), float(rng.uniform(18, 50))
    bore = float(rng.uniform(25, 38))
    return revolved([(bore, 0.0), (r, 0.0), (r, h), (bore, h)], "paper", any_colour(rng), "roll")


def tape_strip(rng: np.random.Generator, *, thickness_mm: float) -> Item:
    """Make a strip of tape under a reference, its upper side at ``thickness_mm``: what is told as the lift."""
    length, width = float(rng.uniform(40, 75)), float(rng.choice([12.0, 19.0, 25.0]))
    outline = shapely.box(-length / 2, -width / 2, length / 2, width / 2)
    return {"tape": part(slab(outline, thickness_mm), "paper", any_colour(rng))}


def flat_magnet(rng: np.random.Generator, *, thickness_mm: float) -> Item:
    """Make a flat round magnet under a reference, its upper side at ``thickness_mm``: what is told as the lift."""
    solid = cylinder(float(rng.uniform(15, 25)), thickness_mm)
    return {"magnet": part(solid, "metal", (0.5, 0.5, 0.5))}


def rag(rng: np.random.Generator) -> Item:
    """Make a crumpled rag as a wavy sheet."""
    n, half = 61, float(rng.uniform(90, 150))
    x, y = np.meshgrid(np.linspace(-half, half, n), np.linspace(-half, half, n))
    z = 6.0 + sum(
        4.0 * np.sin(rng.uniform(0.02, 0.08) * x + rng.uniform(-0.06, 0.06) * y + rng.uniform(0, 6)) for _ in range(5)
    )
    z = np.maximum(z, 0.2)
    wobble = 12 * np.sin(y / half * 4 + rng.uniform(0, 6))
    blocks = np.stack([x + wobble, y, z], axis=-1).reshape(-1, 3)
    return {"rag": part(draped(blocks, n), "cloth", any_colour(rng))}


def draped(points_mm: NDArray[np.float64], n: int) -> Any:
    """Close an n x n grid of points into a solid with a flat under side at z = 0."""
    low = points_mm * [1, 1, 0]
    vertices = np.concatenate([low, points_mm]).astype(np.float32)
    mesh = manifold3d.Mesh(vertices, grid_faces(n, n).astype(np.uint32))
    return Manifold(mesh)


BENCH_THINGS: dict[str, Maker] = {
    "spanner": spanner,
    "screwdriver": screwdriver,
    "hammer": hammer,
    "wheel_nuts": wheel_nuts,
    "cable": cable,
    "hand": hand,
    "rag": rag,
    "tyre": tyre,
    "lid": lid,
    "plate": plate,
    "pulley": pulley,
    "bicycle_disc": bicycle_disc,
    "cup": cup,
    "tape_roll": tape_roll,
}
ROUND_THINGS = ("tyre", "lid", "plate", "pulley", "bicycle_disc", "cup", "tape_roll")
