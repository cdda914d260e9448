"""A rotor's solids: the turned iron, a two-piece rotor's aluminium hat and its rivets, ready cut.

The rim is a polygon of 1440 sides: its sagitta at a radius of 200 mm is 0.0005 mm.
"""

from __future__ import annotations

from typing import Any

import numpy as np

from sample_images_synthetic.studio.rotor import FLANGE_MM, TAB_MM, Joint, Rotor, rivet_spots
from sample_images_synthetic.studio.rotor_tools import HOLE_SEGMENTS, bolt_tool, cut, cutters, placed, scallops
from sample_images_synthetic.studio.solid import cylinder, turned

RIM_SEGMENTS = 1440
HAT_WALL_MM = 7.0
GAP_MM = 0.8  # between the aluminium hat's flange and the ring

Profile = list[tuple[float, float]]
Parts = tuple[Any, dict[int, str]]  # a Manifold, and which zone each cutter's surface belongs to


def ring_solid(rotor: Rotor) -> Parts:
    """Cut the iron: ring with its hat, or ring with its inner flange."""
    tools = cutters(rotor)
    return cut(ring_blank(rotor), tools), {tool.original_id(): name for name, tool in tools.items()}


def ring_blank(rotor: Rotor) -> Any:
    """Turn the iron before any hole."""
    inner = joint_flange(rotor, rotor.joint) if rotor.joint else hat_profile(rotor)
    return turned([*outer_profile(rotor), *inner], RIM_SEGMENTS)


def outer_profile(rotor: Rotor) -> Profile:
    """From the far face's inner edge round the rim to the near face's inner edge, with lips where it is worn."""
    near = face_profile(rotor)
    far = [(r, -rotor.thickness_mm - z) for r, z in reversed(near)]
    return [*far, *near]


def face_profile(rotor: Rotor) -> Profile:
    """Trace the near face from the wall to its inner edge."""
    rim, c = rotor.diameter_mm / 2, rotor.chamfer_mm
    inner = rotor.ring_inner_mm / 2
    profile = [(rim, -c), (rim - c, 0.0)]
    if rotor.wear_mm > 0:
        bevel = min(0.4, rotor.wear_mm)
        outer, sweep_in = rotor.swept_outer_mm / 2, rotor.swept_inner_mm / 2
        profile += [(outer + bevel, 0.0), (outer, -rotor.wear_mm)]
        profile += [(sweep_in, -rotor.wear_mm), (sweep_in - bevel, 0.0)]
    return [*profile, (inner + 0.3, 0.0), (inner, -0.3)]


def hat_profile(rotor: Rotor) -> Profile:
    """From the face's inner edge through the undercut over the hat and back to the ring's far side."""
    wall, top = rotor.hat_mm / 2, rotor.hat_z_mm
    groove = rotor.ring_inner_mm / 2 - wall
    foot = min(0.6 * groove, 0.5 * rotor.undercut_mm, 2.0)
    profile = [(wall + groove, -rotor.undercut_mm), *arc((wall + foot, foot - rotor.undercut_mm), foot, 270, 180)]
    profile += shoulder(rotor)
    hollow = wall - HAT_WALL_MM
    under = top - rotor.hat_plate_mm
    profile += [(hollow - 2, under), (hollow, under - 2)]
    if not rotor.vanes:
        return [*profile, (hollow, -rotor.thickness_mm)]
    back_inner = rotor.ring_inner_mm / 2
    return [*profile, (hollow, -rotor.vanes.cheek_mm), (back_inner, -rotor.vanes.cheek_mm)]


def shoulder(rotor: Rotor) -> Profile:
    """Trace the hat's top edge, mounting face and centre bore."""
    wall, top, fillet = rotor.hat_mm / 2, rotor.hat_z_mm, rotor.hat_fillet_mm
    bore = rotor.centre_bore_mm / 2
    rounded = arc((wall - fillet, top - fillet), fillet, 0, 90)
    return [*rounded, (bore + 0.8, top), (bore, top - 0.8), (bore, top - rotor.hat_plate_mm)]


def arc(centre: tuple[float, float], radius: float, start_deg: float, stop_deg: float) -> Profile:
    """Points of an arc in the profile's plane, both ends included."""
    angles = np.radians(np.linspace(start_deg, stop_deg, 8))
    return [(centre[0] + radius * float(np.cos(a)), centre[1] + radius * float(np.sin(a))) for a in angles]


def joint_flange(rotor: Rotor, joint: Joint) -> Profile:
    """Trace the two-piece ring's inner flange, which carries the hat."""
    inner, tab = rotor.ring_inner_mm / 2, (joint.rivet_circle_mm - joint.head_mm) / 2 - 1.5
    seat = -rotor.undercut_mm
    return [(inner, seat), (tab, seat), (tab, seat - TAB_MM), (inner, seat - TAB_MM)]


def hat_solid(rotor: Rotor, joint: Joint) -> Parts:
    """Make a two-piece rotor's aluminium hat: wall, plate and a flange, plain or scalloped between the rivets."""
    wall, seat = rotor.hat_mm / 2, -rotor.undercut_mm
    rim, hollow = rotor.ring_inner_mm / 2 - GAP_MM, wall - HAT_WALL_MM
    under = rotor.hat_z_mm - rotor.hat_plate_mm
    top = seat + FLANGE_MM
    profile = [(hollow, seat), (rim, seat), (rim, top - 0.5), (rim - 0.5, top)]
    profile += arc((wall + 1.5, top + 1.5), 1.5, 270, 180)
    profile += [*shoulder(rotor), (hollow - 2, under), (hollow, under - 2)]
    tools = {"bore": bolt_tool(rotor).as_original()}
    if joint.scalloped:
        tools["hat"] = scallops(rotor, joint).as_original()
    return cut(turned(profile, RIM_SEGMENTS), tools), {tool.original_id(): name for name, tool in tools.items()}


def rivet_solid(rotor: Rotor, joint: Joint) -> Any:
    """Rivets (domed), pins (flat with a hollow) or bolts (hexagonal) that sit on the hat's flange."""
    head, height = joint.head_mm / 2, joint.head_height_mm
    seat = FLANGE_MM - rotor.undercut_mm
    foot = -rotor.undercut_mm - TAB_MM
    shank: Profile = [(0.0, foot - 1.5), (head * 0.9, foot - 1.5), (head * 0.9, foot - 0.01), (head * 0.6, foot - 0.01)]
    shank += [(head * 0.6, seat - 0.01)]
    if joint.style == "rivet":
        dome = [(head * float(np.cos(a)), seat + height * float(np.sin(a))) for a in np.linspace(0, np.pi / 2, 9)]
        solid = turned([*shank, (head, seat - 0.01), *dome], HOLE_SEGMENTS)
    elif joint.style == "pin":
        ring = [(head, seat - 0.01), (head, seat + height - 0.3), (head - 0.3, seat + height)]
        hollow = [(head * 0.5, seat + height), (head * 0.4, seat + 0.2), (0.0, seat + 0.2)]
        solid = turned([*shank, *ring, *hollow], HOLE_SEGMENTS)
    else:
        solid = bolt_solid(shank, seat, head, height)
    return placed(solid, rivet_spots(joint))


def bolt_solid(shank: Profile, seat: float, head: float, height: float) -> Any:
    """Make a hexagonal head on a washer."""
    washer: Profile = [(head * 1.05, seat - 0.01), (head * 1.05, seat + 0.8), (0.0, seat + 0.8)]
    hexagon = cylinder(1.9 * head, height, z_mm=seat, segments=6)
    return turned([*shank, *washer], HOLE_SEGMENTS) + hexagon


def rotor_volume_mm3(rotor: Rotor) -> dict[str, float]:
    """Volume of the iron and, on a two-piece rotor, the aluminium hat, mm**3."""
    volumes = {"iron": float(cut(ring_blank(rotor), cutters(rotor)).volume())}
    if rotor.joint:
        volumes["aluminium"] = float(hat_solid(rotor, rotor.joint)[0].volume())
    return volumes
