"""Plain solids to build from: turned, extruded, tubes and rounded bodies, all ``manifold3d.Manifold``, in mm."""

from __future__ import annotations

from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import manifold3d
import numpy as np
import shapely
from numpy.typing import ArrayLike, NDArray

Manifold: Any = manifold3d.Manifold
CrossSection: Any = manifold3d.CrossSection

Profile = Sequence[tuple[float, float]]


def turned(profile: Profile | NDArray[np.float64], segments: int = 180, *, degrees: float = 360.0) -> Any:
    """Revolve a closed profile of ``(radius, z)``, anticlockwise, about the axis, from the x axis on."""
    section = CrossSection([np.asarray(profile, dtype=np.float64)], manifold3d.FillRule.NonZero)
    return Manifold.revolve(section, segments, degrees)


def slab(outline: Any, thickness_mm: float) -> Any:
    """Extrude a shapely polygon, holes and all, from z = 0 to the thickness."""
    rings = [outline.exterior, *outline.interiors]
    section = CrossSection([np.asarray(ring.coords)[:-1] for ring in rings], manifold3d.FillRule.EvenOdd)
    return Manifold.extrude(section, thickness_mm)


def rounded_slab(outline: Any, thickness_mm: float, round_mm: float) -> Any:
    """Hull of a polygon's slab with its long edges rounded: for convex outlines only."""
    layers = []
    for angle in np.linspace(0, np.pi / 2, 5):
        inset, height = round_mm * (1 - np.sin(angle)), round_mm * (1 - np.cos(angle))
        ring = np.asarray(outline.buffer(-inset).exterior.coords)
        layers += [np.column_stack([ring, np.full(len(ring), z)]) for z in (height, thickness_mm - height)]
    return Manifold.hull_points(np.concatenate(layers))


def cylinder(diameter_mm: float, height_mm: float, *, z_mm: float = 0.0, segments: int = 64) -> Any:
    """Upright cylinder from ``z_mm`` on."""
    return Manifold.cylinder(height_mm, diameter_mm / 2, diameter_mm / 2, segments).translate((0, 0, z_mm))


def tube(path_mm: ArrayLike, diameter_mm: float | Sequence[float], *, segments: int = 24) -> Any:
    """Lay a rounded rod along a path (N, 3), its diameter constant or given at each point."""
    points = np.asarray(path_mm, dtype=np.float64)
    widths = np.broadcast_to(diameter_mm, len(points))
    balls = [Manifold.sphere(w / 2, segments).translate(tuple(p)) for p, w in zip(points, widths, strict=True)]
    spans = [Manifold.batch_hull([a, b]) for a, b in pairwise(balls)]
    return united(spans)


def united(solids: Sequence[Any]) -> Any:
    """Union of solids."""
    return Manifold.batch_boolean(list(solids), manifold3d.OpType.Add)


def around(solid: Any, count: int, *, radius_mm: float = 0.0, start_rad: float = 0.0) -> list[Any]:
    """Set copies of a solid, shifted out along x, at equal angles round the axis."""
    out = solid.translate((radius_mm, 0, 0))
    return [out.rotate((0, 0, float(np.degrees(start_rad)) + 360.0 * i / count)) for i in range(count)]


def rounded_profile(corners: Profile, round_mm: float) -> NDArray[np.float64]:
    """Profile with its corners rounded, both the outer and the inner ones."""
    shape = shapely.Polygon(corners).buffer(-round_mm, 3).buffer(2 * round_mm, 3).buffer(-round_mm, 3)
    return np.asarray(shapely.geometry.polygon.orient(shape).exterior.coords)[:-1]
