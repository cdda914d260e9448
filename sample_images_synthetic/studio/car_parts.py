"""What stands round a rotor on the car, in the rotor's frame: hat and wheel side at +z, the car at -z.

Each function takes the rotor and gives an `Item`. The caliper is centred on the x axis; turn it about z.
"""

from __future__ import annotations

from typing import Any

import numpy as np
import shapely

from sample_images_synthetic.studio.item import Colour, Finish, Item, Part
from sample_images_synthetic.studio.rotor import Rotor
from sample_images_synthetic.studio.shell import shell_of
from sample_images_synthetic.studio.solid import (
    CrossSection,
    Manifold,
    Profile,
    around,
    cylinder,
    rounded_profile,
    rounded_slab,
    slab,
    tube,
    turned,
    united,
)
from sample_images_synthetic.studio.wheel import WheelSizes

PAD_GAP_MM = 0.3
CALIPER_PAINTS: tuple[Colour, ...] = (
    (0.45, 0.02, 0.02),
    (0.6, 0.42, 0.02),
    (0.35, 0.35, 0.36),
    (0.02, 0.02, 0.02),
    (0.03, 0.08, 0.35),
    (0.25, 0.2, 0.15),
)


def part(solid: Any, finish: Finish, colour: Colour) -> Part:
    """Shade a solid as one material."""
    return Part(shell_of(solid, span_mm=100.0), finish, colour)


def caliper(rng: np.random.Generator, rotor: Rotor, *, span_deg: float) -> Item:
    """Make a caliper astride the rim, with its pads; it hides ``span_deg`` of the rim, centred on the x axis."""
    rim, thickness = rotor.diameter_mm / 2, rotor.thickness_mm
    inner = max(rotor.ring_inner_mm / 2 + 3, rotor.hat_mm / 2 + 6)
    outer, near, far = rim + float(rng.uniform(18, 26)), float(rng.uniform(38, 50)), float(rng.uniform(50, 65))
    room = 15.0  # pad and backing plate between body and face
    claw = [(inner + 6, near), (inner + 2, room), (rim + 4, room), (rim + 4, -thickness - room)]
    claw += [(inner - 4, -thickness - room), (inner - 2, -thickness - far), (outer - 12, -thickness - far)]
    claw += [(outer, 12 - thickness - far), (outer, near - 12), (outer - 10, near)]
    body = round_ended(rounded_profile(claw[::-1], 2.5), span_deg, radius_mm=rim)
    body = body - bridge_window(rim, span_deg) + piston_housings(rng, rotor, near=near, far=far, span_deg=span_deg)
    ears = around(cylinder(16, 26, z_mm=-thickness - 34), 1, radius_mm=rim + 10, start_rad=np.radians(span_deg / 2 - 4))
    ears += around(
        cylinder(16, 26, z_mm=-thickness - 34), 1, radius_mm=rim + 10, start_rad=-np.radians(span_deg / 2 - 4)
    )
    paint = CALIPER_PAINTS[int(rng.integers(len(CALIPER_PAINTS)))]
    return {
        "caliper": part(united([body, *ears]), "paint", paint),
        "fittings": part(fittings(outer, near, span_deg=span_deg), "metal", (0.33, 0.32, 0.3)),
        "backing": part(pads(rotor, inner, span_deg=0.8 * span_deg, layer=(9.0, 14.5)), "metal", (0.12, 0.11, 0.1)),
        "pads": part(
            pads(rotor, inner, span_deg=0.76 * span_deg, layer=(PAD_GAP_MM, 9.0)), "rubber", (0.09, 0.085, 0.08)
        ),
    }


def sector(profile: Profile | Any, span_deg: float) -> Any:
    """Part of a turned body, centred on the x axis."""
    return turned(profile, 360, degrees=span_deg).rotate((0, 0, -span_deg / 2))


def round_ended(profile: Any, span_deg: float, *, radius_mm: float) -> Any:
    """Sector whose end faces run into its sides with a radius of 5 mm, as cast."""
    steps = []
    for angle in np.linspace(0, np.pi / 2, 7):
        inset, back = 5.0 * (1 - np.cos(angle)), 5.0 * (1 - np.sin(angle))
        shrunk = shapely.Polygon(profile).buffer(-inset)
        ring = np.asarray(shapely.geometry.polygon.orient(shrunk).exterior.coords)[:-1]
        steps.append(sector(ring, span_deg - 2 * float(np.degrees(back / radius_mm))))
    return united(steps)


def fittings(outer_mm: float, near_mm: float, *, span_deg: float) -> Any:
    """Screws through the bridge and the bleed nipples at the caliper's ends."""
    screw = cylinder(11, 8, z_mm=near_mm - 4) - cylinder(5.5, 4, z_mm=near_mm + 1, segments=6)
    nipple = cylinder(9, 8, z_mm=near_mm - 2, segments=6) + cylinder(5, 18, z_mm=near_mm - 2, segments=24)
    places = [(screw, 0.38), (screw, 0.27), (screw, -0.27), (screw, -0.38), (nipple, 0.45), (nipple, -0.45)]
    return united([solid.translate((outer_mm - 17, 0, 0)).rotate((0, 0, share * span_deg)) for solid, share in places])


def bridge_window(rim_mm: float, span_deg: float) -> Any:
    """Open a window over the pads' backs, through which the rim is seen."""
    profile = [(rim_mm - 8, -80.0), (rim_mm + 60, -80.0), (rim_mm + 60, 14.0), (rim_mm - 8, 14.0)]
    return sector(profile, 0.34 * span_deg)


def piston_housings(rng: np.random.Generator, rotor: Rotor, *, near: float, far: float, span_deg: float) -> Any:
    """Bulges of the pistons on the far side (sliding caliper) or on both (fixed caliper)."""
    count = int(rng.integers(1, 3)) if rng.random() < 0.5 else int(rng.integers(2, 4))
    bore = min(44.0, 1.7 * rotor.diameter_mm / 2 * np.radians(span_deg) / (count + 1))
    middle = rotor.diameter_mm / 2 - 22
    depth = rotor.thickness_mm + far
    round_end = shapely.Point(0, 0).buffer(bore / 2 + 4)
    bulge = rounded_slab(round_end, 22.0, 5.0).translate((0, 0, -depth - 14))
    bulges = fan(bulge, count, middle, span_deg)
    if rng.random() < 0.5:
        bulges += fan(rounded_slab(round_end, 14.0, 4.0).translate((0, 0, near - 9)), count, middle, span_deg)
    return united(bulges)


def fan(solid: Any, count: int, radius_mm: float, span_deg: float) -> list[Any]:
    """Spread copies of a solid over a sector centred on the x axis."""
    places = (np.arange(count) + 0.5) / count - 0.5
    return [solid.translate((radius_mm, 0, 0)).rotate((0, 0, 0.85 * span_deg * float(p))) for p in places]


def pads(rotor: Rotor, inner_mm: float, *, span_deg: float, layer: tuple[float, float]) -> Any:
    """Both pads' layer between two heights over the swept faces."""
    low, high = layer[0] + rotor.swept_z_mm, layer[1] + rotor.swept_z_mm
    # The pads made the lips: they run between them.
    inner, outer = max(inner_mm + 2, rotor.swept_inner_mm / 2 + 0.5), rotor.swept_outer_mm / 2 - 0.5
    near = sector([(inner, low), (outer, low), (outer, high), (inner, high)], span_deg)
    return near + near.mirror((0, 0, 1)).translate((0, 0, -rotor.thickness_mm))


def dust_shield(rng: np.random.Generator, rotor: Rotor) -> Item:
    """Make the sheet-metal shield behind the ring; its rolled edge may run just outside the rim."""
    rim, back = rotor.diameter_mm / 2, -rotor.thickness_mm - float(rng.uniform(10, 18))
    reach = rim + float(rng.uniform(3, 10))
    edge = back + float(rng.choice([3.0, 10.0, 22.0]))
    hollow = rotor.hat_mm / 2 - 25
    profile = [
        (hollow, back),
        (reach, back),
        (reach, edge),
        (reach - 1.2, edge),
        (reach - 1.2, back + 1.2),
        (hollow, back + 1.2),
    ]
    body = turned(profile, 360, degrees=float(rng.uniform(210, 320)))
    return {"shield": part(body, "metal", (0.13, 0.125, 0.12))}


def hub(rng: np.random.Generator, rotor: Rotor) -> Item:
    """Make the hub in the bore with its cap, and threaded studs through the bolt holes."""
    top, bore = rotor.hat_z_mm, rotor.centre_bore_mm / 2 - 0.3
    proud = float(rng.uniform(6, 22))
    cap = bore - float(rng.uniform(2, 8))
    nose = [
        (0.0, top - 60),
        (bore, top - 60),
        (bore, top + 4),
        (cap, top + 6),
        (cap, top + proud - 3),
        (cap - 3, top + proud),
    ]
    body = turned([*nose, (0.0, top + proud)], 128)
    flange = cylinder(rotor.bolt_circle_mm + 28, 10, z_mm=top - rotor.hat_plate_mm - 10.2)
    item: Item = {"hub": part(body + flange, "metal", (0.2, 0.18, 0.16))}
    if rng.random() < 0.7:
        stud = threaded(float(rng.choice([12.0, 14.0])), float(rng.uniform(22, 36)), top - 10)
        studs = united(around(stud, rotor.bolt_count, radius_mm=rotor.bolt_circle_mm / 2))
        item["studs"] = part(studs, "metal", (0.35, 0.33, 0.3))
    return item


def threaded(diameter_mm: float, length_mm: float, z_mm: float) -> Any:
    """Stud with grooves of 1.5 mm pitch, seen as a thread."""
    r, pitch = diameter_mm / 2, 1.5
    edge: list[tuple[float, float]] = []
    for z in np.arange(z_mm + 10, z_mm + 10 + length_mm - 2, pitch):
        edge += [(r, float(z)), (r - 0.8, float(z) + pitch / 2)]
    return turned([(0.0, z_mm), (r, z_mm), *edge, (r - 1.5, z_mm + 10 + length_mm), (0.0, z_mm + 10 + length_mm)], 32)


def wheel_arch(rng: np.random.Generator) -> Item:
    """Make the arch behind a wheel that is off: liner, wing with its round cut-out, strut, knuckle and hose."""
    reach, back = float(rng.uniform(320, 370)), -float(rng.uniform(160, 240))
    liner = sector([(reach, back), (reach + 3, back), (reach + 3, 90.0), (reach, 90.0)], 215)
    behind = sector([(60.0, back - 3), (reach + 3, back - 3), (reach + 3, back), (60.0, back)], 215)
    opening = shapely.Point(0, 0).buffer(reach + 4, quad_segs=48)
    wing = shapely.box(-900, -180, 900, 620) - opening - shapely.box(-reach - 4, -400, reach + 4, 0)
    strut = tube([(-30, 60, -110), (-60, 420, -150)], 46) + tube([(-40, 180, -120), (-55, 360, -145)], 95)
    arm = tube([(0, -95, -95), (-180, -130, -190), (-330, -120, -230)], [40.0, 34.0, 38.0])
    knuckle = tube([(-20, 80, -90), (0, 0, -70), (0, -95, -90)], [44.0, 90.0, 40.0])
    hose = tube([(120, 60, -70), (150, 160, -110), (60, 260, -140), (-40, 300, -150)], 11)
    paint = tuple(float(c) for c in rng.uniform(0.02, 0.6, 3))
    upright = (0, 0, 90)  # the sectors are centred on x, the arch on y
    return {
        "liner": part((liner + behind).rotate(upright), "rubber", (0.03, 0.03, 0.03)),
        "wing": part(slab(wing, 1.0).translate((0, 0, 90)), "paint", (paint[0], paint[1], paint[2])),
        "strut": part(strut, "paint", (0.04, 0.04, 0.045)),
        "knuckle": part(knuckle + arm, "metal", (0.15, 0.13, 0.11)),
        "hose": part(hose, "rubber", (0.025, 0.025, 0.025)),
    }


def spoked_wheel(rng: np.random.Generator, rotor: Rotor, *, spokes: int) -> Item:
    """Make a wheel with its tyre in front of the rotor, which shows between the spokes, the first of them at +x."""
    sizes = WheelSizes.draw(rng, rotor)
    inner, face, width, depth = sizes.inner, sizes.face, sizes.width, sizes.depth
    boss = cylinder(rotor.bolt_circle_mm + 40, face + depth - rotor.hat_z_mm, z_mm=rotor.hat_z_mm)
    spoke = Manifold.batch_hull(
        [
            Manifold.sphere(width * 0.45, 24).scale((1, 1, 0.6)).translate((40, 0, face + depth * 0.6)),
            Manifold.sphere(width * 0.3, 24).scale((1, 1, 0.6)).translate((inner + 6, 0, face + depth)),
            Manifold.sphere(width * 0.3, 24).scale((1, 1, 0.6)).translate((inner + 6, 0, face - 4)),
        ]
    )
    barrel_back = -rotor.thickness_mm - 110.0
    barrel = [(inner, barrel_back), (inner + 7, barrel_back), (inner + 7, face + depth - 2)]
    barrel += [(inner + 22, face + depth + 6), (inner + 20, face + depth + 9), (inner, face + depth + 4)]
    lugs = united(around(cylinder(24, 60, z_mm=face), rotor.bolt_count, radius_mm=rotor.bolt_circle_mm / 2))
    holes = lugs ^ cylinder(400, face + depth + 1, z_mm=face + depth - 14)
    body = united([boss - holes, *around(spoke, spokes), turned(rounded_profile(barrel, 1.2), 360)])
    grey = float(rng.uniform(0.08, 0.6))
    bolt = cylinder(17, 12, z_mm=sizes.bolts_z_mm - 12, segments=6)
    bolts = united(around(bolt, rotor.bolt_count, radius_mm=rotor.bolt_circle_mm / 2))
    tyre = tyre_solid(inner + 20, float(rng.uniform(70, 110)), width_mm=face + depth - barrel_back + 12)
    return {
        "wheel": part(body, "paint", (grey, grey, grey * 1.02)),
        "wheel_bolts": part(bolts, "metal", (0.4, 0.4, 0.4)),
        "tyre": part(tyre.translate((0, 0, barrel_back - 6)), "rubber", (0.025, 0.025, 0.026)),
    }


def tyre_solid(bead_mm: float, wall_mm: float, *, width_mm: float) -> Any:
    """Tyre lying on its side from z = 0 on: bead radius, height of the side wall, width; with tread grooves."""
    crown, w = bead_mm + wall_mm, width_mm
    outline = [(bead_mm, 4.0), (bead_mm + 0.5 * wall_mm, 0.0), (crown - 14, 6.0), (crown, 24.0)]
    for groove in np.linspace(0.25, 0.75, 4):
        at = float(groove) * w
        outline += [(crown + 2, at - 4), (crown - 6, at - 3.5), (crown - 6, at + 3.5), (crown + 2, at + 4)]
    outline += [(crown, w - 24), (crown - 14, w - 6), (bead_mm + 0.5 * wall_mm, w), (bead_mm, w - 4)]
    outline += [(bead_mm + 6, w - 16), (crown - 22, w - 30), (crown - 22, 30.0), (bead_mm + 6, 16.0)]
    body = turned(rounded_profile(outline, 1.5), 240)
    sipe = CrossSection.square((26, 3), center=True)
    cuts = [Manifold.extrude(sipe, 0.2 * w).translate((0, 0, z)) for z in (-1.0, 0.8 * w + 1)]
    return body - united([c for cut in cuts for c in around(cut, 60, radius_mm=crown)])
