"""A shell: triangles ready to render, with normals that keep sharp edges sharp and texture coordinates by position.

Texture coordinates (``mesh.visual.uv``) need no unwrapping by hand:

- ``planar``: ``u = x / span + 0.5``, ``v = y / span + 0.5``; one texture lies over the whole part, seen from +z.
- ``wrapped``: ``u = angle / (2 pi)`` (0 to 1, a little over 1 at the seam: let the texture repeat),
  ``v = z / (pi * span)``; isotropic at radius ``span / 2``.
"""

from __future__ import annotations

from typing import Any, Literal

import numpy as np
import trimesh
from numpy.typing import NDArray
from scipy.sparse import coo_matrix
from scipy.sparse.csgraph import connected_components

FloatArray = NDArray[np.float64]
IntArray = NDArray[np.int64]
Wrap = Literal["planar", "wrapped"]

CREASE_RAD = float(np.radians(28))


def shell(vertices_mm: FloatArray, faces: IntArray, *, span_mm: float, wrap: Wrap = "planar") -> trimesh.Trimesh:
    """Shade and texture a triangle soup.

    Parameters
    ----------
    vertices_mm : (N, 3) ndarray of float64
        Corners, mm.
    faces : (M, 3) ndarray of int
        Triangles, counter-clockwise from outside.
    span_mm : float
        Length that one texture spans; see the module's text.
    wrap : {"planar", "wrapped"}
        How ``uv`` follows from the position.

    Returns
    -------
    trimesh.Trimesh
        With ``vertex_normals`` (smooth below a crease of 28 degrees) and ``visual.uv``; not merged any further.
    """
    vertices_mm, faces = split_creases(vertices_mm, faces)
    normals = smooth_normals(vertices_mm, faces)
    if wrap == "planar":
        uv = vertices_mm[:, :2] / span_mm + 0.5
    else:
        vertices_mm, faces, normals, uv = wrapped(vertices_mm, faces, normals, span_mm)
    return dressed(vertices_mm, faces, normals, uv)


def dressed(vertices_mm: FloatArray, faces: IntArray, normals: FloatArray, uv: FloatArray) -> trimesh.Trimesh:
    """Put corners, normals and texture coordinates together, exactly as given."""
    visual: Any = trimesh.visual
    return trimesh.Trimesh(
        vertices_mm, faces, vertex_normals=normals, visual=visual.TextureVisuals(uv=uv), process=False
    )


def shell_of(solid: Any, *, span_mm: float, wrap: Wrap = "planar") -> trimesh.Trimesh:
    """Shell of a whole ``manifold3d.Manifold``."""
    vertices_mm, faces = triangles(solid)
    return shell(vertices_mm, faces, span_mm=span_mm, wrap=wrap)


def triangles(solid: Any) -> tuple[FloatArray, IntArray]:
    """Corners (N, 3) in mm and triangles (M, 3) of a ``manifold3d.Manifold``."""
    mesh = solid.to_mesh64()
    return np.array(mesh.vert_properties[:, :3]), np.array(mesh.tri_verts, dtype=np.int64)


def face_normals(vertices_mm: FloatArray, faces: IntArray) -> FloatArray:
    """Compute normals of the triangles, as long as twice their area."""
    a, b, c = (vertices_mm[faces[:, i]] for i in range(3))
    return np.cross(b - a, c - a)


def unit(vectors: FloatArray) -> FloatArray:
    """Rows scaled to length 1; rows of zeros stay."""
    length = np.linalg.norm(vectors, axis=1, keepdims=True)
    return np.asarray(vectors / np.where(length > 0, length, 1))


def split_creases(vertices_mm: FloatArray, faces: IntArray) -> tuple[FloatArray, IntArray]:
    """Double the corners along edges sharper than the crease, so that each side keeps its own normal."""
    group = smoothing_groups(vertices_mm, faces)
    key = faces * (int(group.max(initial=0)) + 1) + group[:, None]
    _, first, inverse = np.unique(key, return_index=True, return_inverse=True)
    return vertices_mm[faces.reshape(-1)[first]], inverse.reshape(faces.shape)


def smoothing_groups(vertices_mm: FloatArray, faces: IntArray) -> IntArray:
    """Find the smooth patch that each triangle belongs to, (M,)."""
    edges = np.sort(np.concatenate([faces[:, [0, 1]], faces[:, [1, 2]], faces[:, [2, 0]]]), axis=1)
    owner = np.tile(np.arange(len(faces)), 3)
    order = np.lexsort((edges[:, 1], edges[:, 0]))
    edges, owner = edges[order], owner[order]
    shared = np.flatnonzero((edges[1:] == edges[:-1]).all(axis=1))
    left, right = owner[shared], owner[shared + 1]
    normals = unit(face_normals(vertices_mm, faces))
    smooth = (normals[left] * normals[right]).sum(axis=1) > np.cos(CREASE_RAD)
    ones = np.ones(int(smooth.sum()), dtype=np.int8)
    graph = coo_matrix((ones, (left[smooth], right[smooth])), shape=(len(faces), len(faces)))
    return np.asarray(connected_components(graph, directed=False)[1], dtype=np.int64)


def smooth_normals(vertices_mm: FloatArray, faces: IntArray) -> FloatArray:
    """Area-weighted normals at the corners, (N, 3)."""
    weighted = face_normals(vertices_mm, faces)
    total = np.zeros_like(vertices_mm)
    for corner in range(3):
        np.add.at(total, faces[:, corner], weighted)
    return unit(total)


def wrapped(
    vertices_mm: FloatArray, faces: IntArray, normals: FloatArray, span_mm: float
) -> tuple[FloatArray, IntArray, FloatArray, FloatArray]:
    """Wrap a texture round the axis; corners of triangles over the seam are doubled with ``u + 1``."""
    turn = np.arctan2(vertices_mm[:, 1], vertices_mm[:, 0]) / (2 * np.pi) % 1.0
    uv = np.column_stack([turn, vertices_mm[:, 2] / (np.pi * span_mm)])
    over = np.ptp(turn[faces], axis=1) > 0.5
    late = over[:, None] & (turn[faces] < 0.5)
    doubled, position = np.unique(faces[late], return_inverse=True)
    faces = faces.copy()
    faces[late] = len(vertices_mm) + position
    uv = np.concatenate([uv, uv[doubled] + [1.0, 0.0]])
    return (
        np.concatenate([vertices_mm, vertices_mm[doubled]]),
        faces,
        np.concatenate([normals, normals[doubled]]),
        uv,
    )
