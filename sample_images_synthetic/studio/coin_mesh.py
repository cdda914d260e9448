"""A coin's solid: published outline, a rim, and a relief of plain invented geometry; two metals where it has them."""

from __future__ import annotations

from typing import Any

import manifold3d
import numpy as np
import shapely

from sample_images_synthetic.studio.item import Item, Part
from sample_images_synthetic.studio.reference import COIN_BEVEL_MM, COIN_SIZES, Coin, CoinSize
from sample_images_synthetic.studio.shell import FloatArray, shell_of
from sample_images_synthetic.studio.solid import cylinder, turned

SEGMENTS = 360
FIELD_MM = 0.2  # the field lies this far below the rim
RELIEF_MM = 0.14  # and the relief stands this far above the field
METALS = {
    "nickel": (0.62, 0.58, 0.53),
    "brass": (0.72, 0.58, 0.33),
    "gold": (0.74, 0.60, 0.30),
    "copper": (0.62, 0.33, 0.22),
}


def coin_parts(coin: Coin) -> Item:
    """Build a coin; two-metal ones have the parts ``outer`` and ``core``."""
    size = COIN_SIZES[coin.name]
    struck = blank(coin, size) + relief(coin, size)
    if not size.core_mm:
        return {"coin": metal_part(struck, coin, size.metal)}
    punch = cylinder(size.core_mm, coin.thickness_mm + 2, z_mm=-1, segments=SEGMENTS)
    # A hair of air between the metals, as the eye sees it.
    die = cylinder(size.core_mm - 0.08, coin.thickness_mm + 2, z_mm=-1, segments=SEGMENTS)
    return {
        "outer": metal_part(struck - punch, coin, size.metal),
        "core": metal_part(struck ^ die, coin, size.core_metal),
    }


def metal_part(solid: Any, coin: Coin, metal: str) -> Part:
    """Shade a solid as bare metal, tarnished a little by the coin's own seed."""
    shine = np.random.default_rng(coin.relief_seed).uniform(0.6, 1.0)
    r, g, b = (float(shine * c) for c in METALS[metal])
    return Part(shell_of(solid, span_mm=coin.diameter_mm), "metal", (r, g, b))


def blank(coin: Coin, size: CoinSize) -> Any:
    """Turn the blank with its rims and fields, then give its edge reeds or sides."""
    r, t, bevel = coin.diameter_mm / 2, coin.thickness_mm, COIN_BEVEL_MM
    rim = r - 1.3
    half = [(r, t - bevel), (r - bevel, t), (rim, t), (rim - 0.3, t - FIELD_MM), (0.0, t - FIELD_MM)]
    profile = [(x, t - z) for x, z in reversed(half)] + half
    body = turned(profile, SEGMENTS)
    if not (size.sides or size.reeds):
        return body
    edge = manifold3d.CrossSection([edge_outline(coin, size)], manifold3d.FillRule.NonZero)
    return body ^ manifold3d.Manifold.extrude(edge, t + 2).translate((0, 0, -1))


def edge_outline(coin: Coin, size: CoinSize) -> FloatArray:
    """Outline of the edge, (N, 2): a polygon with rounded corners, or a circle with reeds cut into it."""
    r = coin.diameter_mm / 2
    if size.sides:
        # Rounded corners still reach the published width, so the sharp ones lie farther out.
        rounding, pitch = 2.0, np.pi / size.sides
        reach = r - rounding
        angle = 2 * pitch * np.arange(size.sides)
        core = shapely.Polygon(np.column_stack([reach * np.cos(angle), reach * np.sin(angle)]))
        return np.asarray(core.buffer(rounding, quad_segs=24).exterior.coords)[:-1]
    angle = np.linspace(0, 2 * np.pi, size.reeds * 8, endpoint=False)
    groove = 0.1 * (np.cos(angle * size.reeds) < -0.3)
    radius = r + 0.01 - groove
    return np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])


def relief(coin: Coin, size: CoinSize) -> Any:
    """Raise rings, radial marks and a star or polygon from the upper field."""
    rng = np.random.default_rng(coin.relief_seed)
    room = coin.diameter_mm / 2 - 2.2
    if size.sides:
        room -= 0.6
    inner = (size.core_mm / 2 if size.core_mm else 0.72 * room) - 0.6
    pieces = [disc_ring(inner, inner - 0.35), motif(rng, 0.8 * inner)]
    count = int(rng.integers(10, 30))
    for angle in 360.0 * np.arange(count) / count:
        mark = manifold3d.CrossSection.square((0.7 * (room - inner) - 0.4, 0.5), center=True)
        pieces.append(mark.translate(((room + inner) / 2 + 0.3, 0)).rotate(float(angle)))
    section = manifold3d.CrossSection.batch_boolean(pieces, manifold3d.OpType.Add)
    height = coin.thickness_mm - FIELD_MM
    return manifold3d.Manifold.extrude(section, RELIEF_MM + 0.05, scale_top=(1, 1)).translate((0, 0, height - 0.05))


def disc_ring(outer: float, inner: float) -> Any:
    """Make a flat ring."""
    return manifold3d.CrossSection.circle(outer, SEGMENTS) - manifold3d.CrossSection.circle(inner, SEGMENTS)


def motif(rng: np.random.Generator, reach: float) -> Any:
    """Make a star or a nest of polygons, of no meaning."""
    points = int(rng.integers(3, 9))
    angle = np.pi * np.arange(2 * points) / points
    radius = np.where(np.arange(2 * points) % 2 == 0, reach, reach * rng.uniform(0.4, 0.8))
    star = manifold3d.CrossSection([np.column_stack([radius * np.cos(angle), radius * np.sin(angle)])])
    hole = manifold3d.CrossSection.circle(0.3 * reach, 64)
    return (star - hole) + disc_ring(0.22 * reach, 0.1 * reach)
