"""A rotor's solid, cut by manifold3d and split into parts by material.

``rotor_meshes(rotor)`` gives one textured shell for each zone that the rotor has; see `ZONES` for what each is, and
which way its texture coordinates run. The frame is the rotor's own (see ``rotor.py``).
"""

from __future__ import annotations

from typing import Any

import numpy as np
import trimesh

from sample_images_synthetic.studio.rotor import FLANGE_MM, Rotor
from sample_images_synthetic.studio.rotor_solid import HAT_WALL_MM, Parts, hat_solid, ring_solid, rivet_solid
from sample_images_synthetic.studio.shell import (
    FloatArray,
    IntArray,
    Wrap,
    face_normals,
    shell,
    triangles,
    unit,
)

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
        soups.append({"rivets": triangles(rivet_solid(rotor, rotor.joint))})
    names = [name for name in ZONES if any(name in soup for soup in soups)]
    return {name: zone_shell(name, [s[name] for s in soups if name in s], rotor) for name in names}


Soup = tuple[FloatArray, IntArray]


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
