"""What is cut from a rotor: holes, dimples, slots, the air between the vanes, bolt holes, the hat's scallops."""

from __future__ import annotations

from typing import Any

import manifold3d
import numpy as np
import shapely

from sample_images_synthetic.studio.pattern import Dimple, Hole
from sample_images_synthetic.studio.rotor import FLANGE_MM, TAB_MM, Joint, Rotor, Vanes, rivet_spots
from sample_images_synthetic.studio.shell import FloatArray
from sample_images_synthetic.studio.solid import CrossSection, Manifold, turned

HOLE_SEGMENTS = 48


def cut(blank: Any, tools: dict[str, Any]) -> Any:
    """Take all tools from the blank."""
    return Manifold.batch_boolean([blank, *tools.values()], manifold3d.OpType.Subtract)


def cutters(rotor: Rotor) -> dict[str, Any]:
    """Collect what is taken from the turned iron blank, by zone."""
    tools: dict[str, Any] = {}
    pattern = rotor.pattern
    if pattern.holes:
        tools["holes"] = placed(hole_tool(rotor, pattern.holes[0]), [hole.xy_mm for hole in pattern.holes])
    if pattern.dimples:
        front = placed(dimple_tool(rotor, pattern.dimples[0]), [d.xy_mm for d in pattern.dimples])
        tools["dimples"] = both_faces(rotor, front)
    if pattern.slots:
        tools["slots"] = both_faces(rotor, slot_tool(rotor))
    if rotor.vanes:
        tools["vents"] = vent_tool(rotor, rotor.vanes)
    if rotor.joint:
        tools["bore"] = rivet_holes(rotor, rotor.joint)
    else:
        tools["bore"] = bolt_tool(rotor)
    return {name: tool.as_original() for name, tool in tools.items()}


def scallops(rotor: Rotor, joint: Joint) -> Any:
    """Round bites out of the hat's flange, between the rivets."""
    spacing = np.pi * joint.rivet_circle_mm / joint.rivet_count
    radius = max((spacing - joint.head_mm - 6.0) / 2, 3.0)
    angles = 2 * np.pi * (np.arange(joint.rivet_count) + 0.5) / joint.rivet_count
    reach = max(rotor.ring_inner_mm / 2 - 2.0, rotor.hat_mm / 2 + radius + 1.0)
    bite = Manifold.cylinder(FLANGE_MM + 2, radius, radius, HOLE_SEGMENTS)
    bite = bite.translate((0, 0, -rotor.undercut_mm - 1))
    return Manifold.batch_boolean(
        [bite.translate((reach * np.cos(a), reach * np.sin(a), 0)) for a in angles], manifold3d.OpType.Add
    )


def rivet_holes(rotor: Rotor, joint: Joint) -> Any:
    """Holes for the rivets' shanks in the ring's flange (the shanks themselves fill them)."""
    r = joint.head_mm * 0.3 + 0.2
    hole = Manifold.cylinder(TAB_MM + 2, r, r, 24)
    return placed(hole.translate((0, 0, -rotor.undercut_mm - TAB_MM - 1)), rivet_spots(joint))


def placed(tool: Any, spots_mm: list[tuple[float, float]]) -> Any:
    """Put copies of a tool at every spot; they don't touch."""
    return Manifold.compose([tool.translate((x, y, 0.0)) for x, y in spots_mm])


def both_faces(rotor: Rotor, tool: Any) -> Any:
    """Put the tool on the near face and its mirror image on the far one."""
    far = tool.mirror((0, 0, 1)).translate((0, 0, -rotor.thickness_mm))
    return Manifold.compose([tool, far])


def hole_tool(rotor: Rotor, hole: Hole) -> Any:
    """Make a drill through the whole ring, with a countersink at each face."""
    r, c = hole.diameter_mm / 2, hole.countersink_mm
    top, bottom = rotor.swept_z_mm, -rotor.thickness_mm - rotor.swept_z_mm
    profile = [(0.0, bottom - 3), (r + c, bottom - 3), (r + c, bottom), (r, bottom + c)]
    profile += [(r, top - c), (r + c, top), (r + c, top + 3), (0.0, top + 3)]
    return turned(profile, HOLE_SEGMENTS)


def dimple_tool(rotor: Rotor, dimple: Dimple) -> Any:
    """Make a cutter with a conical (drill point, 118 degrees at most) or spherical end."""
    r, depth = dimple.diameter_mm / 2, dimple.depth_mm
    if dimple.floor == "conical":
        rise = min(depth - 0.2, r / np.tan(np.radians(59)))
        floor = [(0.0, -depth), (r, rise - depth)]
    else:
        sphere = (r**2 + depth**2) / (2 * depth)
        radii = r * np.sin(np.linspace(0, np.pi / 2, 10))
        floor = [(float(x), float(sphere - np.sqrt(sphere**2 - x**2)) - depth) for x in radii]
    return turned([*floor, (r, 3.0), (0.0, 3.0)], HOLE_SEGMENTS).translate((0, 0, rotor.swept_z_mm))


def slot_tool(rotor: Rotor) -> Any:
    """Run a round-ended cutter along every slot's path."""
    slots = rotor.pattern.slots
    outlines = [shapely.LineString(slot.path_mm).buffer(slot.width_mm / 2, quad_segs=8) for slot in slots]
    section = CrossSection(
        [np.asarray(outline.exterior.coords)[:-1] for outline in outlines], manifold3d.FillRule.NonZero
    )
    depth = slots[0].depth_mm
    return Manifold.extrude(section, depth + 3).translate((0, 0, rotor.swept_z_mm - depth))


def bolt_tool(rotor: Rotor) -> Any:
    """Bolt holes and locating holes through the hat's plate, slightly chamfered."""
    top, under = rotor.hat_z_mm, rotor.hat_z_mm - rotor.hat_plate_mm
    spots = [
        (rotor.bolt_hole_mm, rotor.bolt_circle_mm, 2 * np.pi * i / rotor.bolt_count) for i in range(rotor.bolt_count)
    ]
    tools = []
    for diameter, circle, angle in [*spots, *rotor.locating_holes]:
        r = diameter / 2
        profile = [(0.0, under - 2), (r, under - 2), (r, top - 0.5), (r + 0.5, top), (r + 0.5, top + 1), (0.0, top + 1)]
        x, y = circle / 2 * np.cos(angle), circle / 2 * np.sin(angle)
        tools.append(turned(profile, HOLE_SEGMENTS).translate((x, y, 0)))
    return Manifold.compose(tools)


def vent_tool(rotor: Rotor, vanes: Vanes) -> Any:
    """Fill the air between the cheeks: everything but the vanes."""
    rim = rotor.diameter_mm / 2
    inner = rotor.ring_inner_mm / 2
    air = CrossSection.circle(rim + 2, 720) - CrossSection.circle(inner - 0.01, 720)
    walls = CrossSection(vane_outlines(rotor, vanes), manifold3d.FillRule.NonZero)
    gap = rotor.thickness_mm - 2 * vanes.cheek_mm
    return Manifold.extrude(air - walls, gap).translate((0, 0, vanes.cheek_mm - rotor.thickness_mm))


def vane_outlines(rotor: Rotor, vanes: Vanes) -> list[FloatArray]:
    """Outlines of the vanes, (K, 2) each, mm."""
    rim, inner = rotor.diameter_mm / 2 - vanes.recess_mm, rotor.ring_inner_mm / 2 + 1.5
    radii = np.linspace(inner + vanes.width_mm / 2, rim - vanes.width_mm / 2, 16)
    bend = np.tan(vanes.lean_rad) * np.log(radii / radii[0])
    outlines = []
    for turn in 2 * np.pi * np.arange(vanes.count) / vanes.count:
        path = np.column_stack([radii * np.cos(bend + turn), radii * np.sin(bend + turn)])
        outline = shapely.LineString(path).buffer(vanes.width_mm / 2, quad_segs=4)
        outlines.append(np.asarray(outline.exterior.coords)[:-1])
    return outlines
