"""A rotor's solid, cut by manifold3d and split into parts by material.

``rotor_meshes(rotor)`` gives one textured shell for each zone that the rotor has; see `ZONES` for what each is, and
which way its texture coordinates run. The frame is the rotor's own (see ``rotor.py``). The rim is a polygon of 1440
sides: its sagitta at a radius of 200 mm is 0.0005 mm.
"""

from __future__ import annotations

from typing import Any

import manifold3d
import numpy as np
import shapely
import trimesh

from sample_images_synthetic.studio.pattern import Dimple, Hole
from sample_images_synthetic.studio.rotor import Joint, Rotor, Vanes
from sample_images_synthetic.studio.shell import (
    FloatArray,
    IntArray,
    Wrap,
    face_normals,
    shell,
    unit,
)

RIM_SEGMENTS = 1440
HOLE_SEGMENTS = 48
HAT_WALL_MM = 7.0
TAB_MM = 6.0  # the two-piece ring's inner flange
FLANGE_MM = 4.5  # the aluminium hat's outer flange
GAP_MM = 0.8  # between that flange and the ring

ZONES: dict[str, str] = {
    "swept": "the pads' band of the upper face: machined bright, turning marks run round (planar uv)",
    "lip": "unworn bands outside and inside the swept band of the upper face (planar)",
    "chamfer": "outer chamfers of both faces (wrapped)",
    "wall": "the outer cylinder (wrapped)",
    "vents": "vanes and the cheeks' inner sides, rough casting (planar)",
    "undercut": "groove at the foot of the hat (planar)",
    "hat": "top of the hat with its fillet (planar); aluminium on a two-piece rotor",
    "hat_wall": "outer side of the hat (wrapped); aluminium on a two-piece rotor",
    "bore": "centre bore, bolt and locating holes' walls, machined (wrapped)",
    "holes": "walls of through holes, with their countersinks (planar)",
    "dimples": "floors of blind dimples (planar)",
    "slots": "floors and sides of slots (planar)",
    "rivets": "rivets, pins or bolts of a two-piece joint, steel (planar)",
    "back_swept": "the pads' band of the far face (planar)",
    "back": "the rest of the far face (planar)",
    "inside": "inner side of the hat and of the ring (planar)",
}
WRAPPED_ZONES = {"chamfer", "wall", "hat_wall", "bore"}
FEATURE_ZONES = ("holes", "dimples", "slots", "bore", "vents")

Profile = list[tuple[float, float]]


def rotor_meshes(rotor: Rotor) -> dict[str, trimesh.Trimesh]:
    """Build the rotor's parts.

    Parameters
    ----------
    rotor : Rotor
        The drawing.

    Returns
    -------
    dict of str to trimesh.Trimesh
        A shell for each zone of `ZONES` that is there, mm, with vertex normals and ``visual.uv``.
    """
    soups = [split_zones(rotor, ring_solid(rotor))]
    if rotor.joint:
        soups.append(split_zones(rotor, hat_solid(rotor, rotor.joint)))
        soups.append({"rivets": plain_soup(rivet_solid(rotor, rotor.joint))})
    names = [name for name in ZONES if any(name in soup for soup in soups)]
    return {name: zone_shell(name, [s[name] for s in soups if name in s], rotor) for name in names}


def rotor_volume_mm3(rotor: Rotor) -> dict[str, float]:
    """Volume of the iron and, on a two-piece rotor, the aluminium hat, mm**3."""
    volumes = {"iron": float(cut(ring_blank(rotor), cutters(rotor)).volume())}
    if rotor.joint:
        volumes["aluminium"] = float(hat_solid(rotor, rotor.joint)[0].volume())
    return volumes


# --- solids -----------------------------------------------------------------------------------------------------


Parts = tuple[Any, dict[int, str]]  # a Manifold, and which zone each cutter's surface belongs to


def ring_solid(rotor: Rotor) -> Parts:
    """Cut the iron: ring with its hat, or ring with its inner flange."""
    tools = cutters(rotor)
    return cut(ring_blank(rotor), tools), {tool.original_id(): name for name, tool in tools.items()}


def cut(blank: Any, tools: dict[str, Any]) -> Any:
    """Take all tools from the blank."""
    return manifold3d.Manifold.batch_boolean([blank, *tools.values()], manifold3d.OpType.Subtract)


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


def turned(profile: Profile, segments: int = RIM_SEGMENTS) -> Any:
    """Revolve a closed profile of ``(radius, z)`` about the axis."""
    section = manifold3d.CrossSection([profile], manifold3d.FillRule.NonZero)
    return manifold3d.Manifold.revolve(section, segments)


def ring_blank(rotor: Rotor) -> Any:
    """Turn the iron before any hole."""
    inner = joint_flange(rotor, rotor.joint) if rotor.joint else hat_profile(rotor)
    return turned([*outer_profile(rotor), *inner])


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
    return cut(turned(profile), tools), {tool.original_id(): name for name, tool in tools.items()}


def scallops(rotor: Rotor, joint: Joint) -> Any:
    """Round bites out of the hat's flange, between the rivets."""
    spacing = np.pi * joint.rivet_circle_mm / joint.rivet_count
    radius = max((spacing - joint.head_mm - 6.0) / 2, 3.0)
    angles = 2 * np.pi * (np.arange(joint.rivet_count) + 0.5) / joint.rivet_count
    reach = max(rotor.ring_inner_mm / 2 - 2.0, rotor.hat_mm / 2 + radius + 1.0)
    bite = manifold3d.Manifold.cylinder(FLANGE_MM + 2, radius, radius, HOLE_SEGMENTS)
    bite = bite.translate((0, 0, -rotor.undercut_mm - 1))
    return manifold3d.Manifold.batch_boolean(
        [bite.translate((reach * np.cos(a), reach * np.sin(a), 0)) for a in angles], manifold3d.OpType.Add
    )


def rivet_spots(joint: Joint) -> list[tuple[float, float]]:
    """Rivet centres, mm."""
    angles = 2 * np.pi * np.arange(joint.rivet_count) / joint.rivet_count
    radius = joint.rivet_circle_mm / 2
    return [(radius * float(np.cos(a)), radius * float(np.sin(a))) for a in angles]


def rivet_holes(rotor: Rotor, joint: Joint) -> Any:
    """Holes for the rivets' shanks in the ring's flange (the shanks themselves fill them)."""
    r = joint.head_mm * 0.3 + 0.2
    hole = manifold3d.Manifold.cylinder(TAB_MM + 2, r, r, 24)
    return placed(hole.translate((0, 0, -rotor.undercut_mm - TAB_MM - 1)), rivet_spots(joint))


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
    hexagon = manifold3d.Manifold.cylinder(height, head * 0.95, head * 0.95, 6).translate((0, 0, seat))
    return turned([*shank, *washer], HOLE_SEGMENTS) + hexagon


# --- tools ------------------------------------------------------------------------------------------------------


def placed(tool: Any, spots_mm: list[tuple[float, float]]) -> Any:
    """Put copies of a tool at every spot; they don't touch."""
    return manifold3d.Manifold.compose([tool.translate((x, y, 0.0)) for x, y in spots_mm])


def both_faces(rotor: Rotor, tool: Any) -> Any:
    """Put the tool on the near face and its mirror image on the far one."""
    far = tool.mirror((0, 0, 1)).translate((0, 0, -rotor.thickness_mm))
    return manifold3d.Manifold.compose([tool, far])


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
    section = manifold3d.CrossSection(
        [np.asarray(outline.exterior.coords)[:-1] for outline in outlines], manifold3d.FillRule.NonZero
    )
    depth = slots[0].depth_mm
    return manifold3d.Manifold.extrude(section, depth + 3).translate((0, 0, rotor.swept_z_mm - depth))


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
    return manifold3d.Manifold.compose(tools)


def vent_tool(rotor: Rotor, vanes: Vanes) -> Any:
    """Fill the air between the cheeks: everything but the vanes."""
    rim = rotor.diameter_mm / 2
    inner = rotor.ring_inner_mm / 2
    air = manifold3d.CrossSection.circle(rim + 2, 720) - manifold3d.CrossSection.circle(inner - 0.01, 720)
    walls = manifold3d.CrossSection(vane_outlines(rotor, vanes), manifold3d.FillRule.NonZero)
    gap = rotor.thickness_mm - 2 * vanes.cheek_mm
    return manifold3d.Manifold.extrude(air - walls, gap).translate((0, 0, vanes.cheek_mm - rotor.thickness_mm))


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


# --- zones ------------------------------------------------------------------------------------------------------


Soup = tuple[FloatArray, IntArray]


def plain_soup(solid: Any) -> Soup:
    """Corners and triangles of a solid."""
    mesh = solid.to_mesh64()
    return np.array(mesh.vert_properties[:, :3]), np.array(mesh.tri_verts, dtype=np.int64)


def split_zones(rotor: Rotor, parts: Parts) -> dict[str, Soup]:
    """Sort a solid's triangles: cutters' surfaces by where they come from, turned ones by where they lie."""
    solid, tool_names = parts
    mesh = solid.to_mesh64()
    vertices, faces = np.array(mesh.vert_properties[:, :3]), np.array(mesh.tri_verts, dtype=np.int64)
    zone = turned_zones(rotor, vertices, faces)
    starts = np.asarray(mesh.run_index) // 3
    for original, start, stop in zip(mesh.run_original_id, starts[:-1], starts[1:], strict=True):
        if original in tool_names:
            zone[start:stop] = tool_names[original]
    return {str(name): (vertices, faces[zone == name]) for name in np.unique(zone)}


def turned_zones(rotor: Rotor, vertices: FloatArray, faces: IntArray) -> Any:
    """Zone of each turned triangle, by its middle and its normal."""
    middle = vertices[faces].mean(axis=1)
    r, z = np.hypot(middle[:, 0], middle[:, 1]), middle[:, 2]
    normal = unit(face_normals(vertices, faces))
    outward = (normal[:, :2] * middle[:, :2]).sum(axis=1) / np.maximum(r, 1e-9)
    up, down = normal[:, 2] > 0.999, normal[:, 2] < -0.999
    rim, inner, wall = rotor.diameter_mm / 2, rotor.ring_inner_mm / 2, rotor.hat_mm / 2
    swept = (r > rotor.swept_inner_mm / 2) & (r < rotor.swept_outer_mm / 2)
    depth = np.minimum(-z, z + rotor.thickness_mm)  # below either face
    on_face = np.abs(depth - rotor.wear_mm) < 1e-3
    plate_under = rotor.hat_z_mm - rotor.hat_plate_mm
    rules = [
        ("bore", (r < rotor.centre_bore_mm / 2 + 1) & (z > plate_under - 0.01)),
        ("chamfer", (r > rim - rotor.chamfer_mm) & (depth < rotor.chamfer_mm)),
        ("wall", r > rim - 0.05),
        ("swept", swept & on_face & up),
        ("back_swept", swept & on_face & down),
        ("lip", (r > inner) & (normal[:, 2] > 0.1)),
        ("back", (r > inner) & (normal[:, 2] < -0.1)),
        ("hat", (r < wall + 0.01) & (z > plate_under) & (normal[:, 2] > 0.05)),
        ("hat_wall", (r > wall - HAT_WALL_MM / 2) & (z > -rotor.undercut_mm + FLANGE_MM) & (outward > 0)),
        ("undercut", (r > wall - 0.01) & (normal[:, 2] > -0.1) & (z > -rotor.undercut_mm - 0.01)),
    ]
    zones = np.select([rule for _, rule in rules], [name for name, _ in rules], default="inside")
    return zones.astype("U16")


def zone_shell(name: str, soups: list[Soup], rotor: Rotor) -> trimesh.Trimesh:
    """One shell from the zone's triangles of every solid."""
    offsets = np.cumsum([0, *[len(vertices) for vertices, _ in soups]])
    vertices = np.concatenate([vertices for vertices, _ in soups])
    faces = np.concatenate([faces + offset for (_, faces), offset in zip(soups, offsets, strict=False)])
    wrap: Wrap = "wrapped" if name in WRAPPED_ZONES else "planar"
    return shell(vertices, faces, span_mm=rotor.diameter_mm, wrap=wrap)
