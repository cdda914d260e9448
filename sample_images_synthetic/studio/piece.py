"""Pieces ready to render: corners with normals and texture coordinates, and what they are made of."""

from collections.abc import Callable
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
import trimesh
from numpy.typing import NDArray

from sample_images_synthetic.studio.iron import Finish, face_span_mm, friction_face
from sample_images_synthetic.studio.material import Surface, aluminium, coated, flat, rusty, soiled
from sample_images_synthetic.studio.rotor import Rotor
from sample_images_synthetic.studio.rotor_mesh import WRAPPED_ZONES, rotor_meshes

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]

FACE_EDGE_MM = 7.0
"""Longest edge of a triangle on the friction face: its marks turn by 4 degrees within one."""

POLAR_UP = frozenset({"swept", "lip"})
POLAR_DOWN = frozenset({"back_swept", "back"})


@dataclass(frozen=True)
class Piece:
    """A mesh with its material.

    Attributes
    ----------
    corners_mm, normals : (N, 3) ndarray
        In the world.
    uv : (N, 2) ndarray
        Texture coordinates.
    faces : (M, 3) ndarray of int
        Triangles.
    surface : Surface
        What it is made of.
    """

    corners_mm: FloatArray
    normals: FloatArray
    uv: FloatArray
    faces: IntArray
    surface: Surface

    def moved(self, rotation: FloatArray, offset_mm: FloatArray) -> "Piece":
        """Turn the piece, then shift it."""
        return replace(self, corners_mm=self.corners_mm @ rotation.T + offset_mm, normals=self.normals @ rotation.T)


def piece_of(mesh: trimesh.Trimesh, surface: Surface, uv: FloatArray | None = None) -> Piece:
    """Make a piece from a mesh; texture coordinates in millimetres (box-mapped) where the mesh brings none."""
    own = getattr(mesh.visual, "uv", None) if uv is None else uv
    corners, normals = np.asarray(mesh.vertices), np.asarray(mesh.vertex_normals)
    if own is None:
        own = box_mapped(corners, normals, surface.tile_mm)
    return Piece(corners, normals, np.asarray(own), np.asarray(mesh.faces), surface)


def box_mapped(corners_mm: FloatArray, normals: FloatArray, tile_mm: float) -> FloatArray:
    """Texture coordinates from the two axes that a corner's normal is least along."""
    axis = np.abs(normals).argmax(axis=1)
    first, second = np.where(axis == 0, 1, 0), np.where(axis == 2, 1, 2)
    rows = np.arange(len(corners_mm))
    return np.stack([corners_mm[rows, first], corners_mm[rows, second]], axis=1) / tile_mm


TURN_OVER = np.diag([1.0, -1.0, -1.0])


def rotor_pieces(rotor: Rotor, finish: Finish, rng: np.random.Generator, *, hat_up: bool) -> list[Piece]:
    """Build the rotor in the world, its visible face at z = 0.

    Parameters
    ----------
    rotor : Rotor
        The drawing.
    finish : Finish
        Wear and dirt of its faces.
    rng : numpy.random.Generator
        Source of the textures.
    hat_up : bool
        Hat towards the camera; otherwise the rotor is turned over about the x axis.
    """
    surfaces = _zone_surfaces(rotor, finish, rng)
    face = friction_face(rotor, finish, rng)
    polar = POLAR_UP if hat_up else POLAR_DOWN
    parts = []
    for zone, mesh in rotor_meshes(rotor).items():
        if zone in polar:
            parts.append(_polar_piece(rotor, mesh, face))
        else:
            parts.append(piece_of(mesh, surfaces(zone), _uv_of(zone, rotor, mesh, surfaces(zone))))
    if hat_up:
        return parts
    return [p.moved(TURN_OVER, np.array([0.0, 0.0, -rotor.thickness_mm])) for p in parts]


def _uv_of(zone: str, rotor: Rotor, mesh: trimesh.Trimesh, surface: Surface) -> FloatArray:
    """Millimetres over the tile: along the wrap where there is one, else box-mapped."""
    if zone not in WRAPPED_ZONES:
        return box_mapped(np.asarray(mesh.vertices), np.asarray(mesh.vertex_normals), surface.tile_mm)
    turns = max(1, round(np.pi * rotor.diameter_mm / surface.tile_mm))
    visual: Any = mesh.visual
    return np.column_stack([visual.uv[:, 0] * turns, np.asarray(mesh.vertices)[:, 2] / surface.tile_mm])


def _zone_surfaces(rotor: Rotor, finish: Finish, rng: np.random.Generator) -> Callable[[str], Surface]:
    """Say what each zone but the polar ones is made of."""
    edge = rusty(rng, min(finish.lip_rust * 0.9, 0.95))
    rough = rusty(rng, min(0.15 + finish.lip_rust * 0.6, 0.9))
    steel = flat((0.5, 0.5, 0.5), 0.35, 1.0)
    machined = flat((finish.brightness * 0.8,) * 3, 0.4, 1.0)
    hat = aluminium(rng) if rotor.joint else (coated(rng) if rng.random() < 0.5 else rough)
    hat = soiled(hat, rng, finish.dust)
    chamfer = edge if finish.lip_rust > 0.25 else machined
    groove = rusty(rng, 0.2 + 0.4 * finish.face_rust)
    table = {
        "chamfer": chamfer,
        "wall": edge,
        "hat": hat,
        "hat_wall": hat,
        "bore": machined,
        "rivets": steel,
        "slots": groove,
        "dimples": groove,
        "holes": groove,
        "back_swept": machined,
        "swept": machined,
    }
    return lambda zone: table.get(zone, rough)


def _polar_piece(rotor: Rotor, mesh: trimesh.Trimesh, face: Surface) -> Piece:
    """Make a flat zone of the friction face, mapped in polar coordinates: u across the ring, v round it."""
    remesh: Any = trimesh.remesh
    corners, faces = remesh.subdivide_to_size(
        np.asarray(mesh.vertices), np.asarray(mesh.faces), FACE_EDGE_MM, max_iter=12
    )
    corners = np.asarray(corners)[np.asarray(faces)].reshape(-1, 3)
    inner, outer = face_span_mm(rotor)
    turn = np.arctan2(corners[:, 1], corners[:, 0]).reshape(-1, 3) / (2 * np.pi)
    turn = turn - np.round(turn - turn[:, :1])
    u = (np.hypot(corners[:, 0], corners[:, 1]) - inner) / (outer - inner)
    flat_faces = np.arange(len(corners)).reshape(-1, 3)
    a, b, c = (corners[i::3] for i in range(3))
    normal = np.cross(b - a, c - a)
    normal /= np.maximum(np.linalg.norm(normal, axis=1, keepdims=True), 1e-12)
    return Piece(corners, np.repeat(normal, 3, axis=0), np.column_stack([u, turn.ravel()]), flat_faces, face)


def ground_piece(surface: Surface, z_mm: float, turn_deg: float, half_mm: float = 25_000.0) -> Piece:
    """Lay a floor at ``z_mm``, its texture turned by ``turn_deg``."""
    xy = half_mm * np.array([[-1, -1], [1, -1], [1, 1], [-1, 1]], np.float64)
    c, s = np.cos(np.radians(turn_deg)), np.sin(np.radians(turn_deg))
    uv = xy @ np.array([[c, -s], [s, c]]) / surface.tile_mm + 0.37
    corners = np.column_stack([xy, np.full(4, z_mm)])
    return Piece(corners, np.tile([0.0, 0.0, 1.0], (4, 1)), uv, np.array([[0, 1, 2], [0, 2, 3]]), surface)
