"""A reference's solid: ``reference_parts(reference)`` gives its shells, prints and metals, in the reference's frame."""

from __future__ import annotations

import numpy as np
import shapely
import trimesh

from sample_images_synthetic.studio.card_print import card_texture, sheet_texture, tag_texture
from sample_images_synthetic.studio.coin_mesh import coin_parts
from sample_images_synthetic.studio.grid import grid_faces
from sample_images_synthetic.studio.item import Item, Part
from sample_images_synthetic.studio.reference import Card, Coin, Reference, Sheet, Tag
from sample_images_synthetic.studio.shell import dressed, shell, shell_of
from sample_images_synthetic.studio.solid import slab

PAPER = (0.72, 0.72, 0.7)


def reference_parts(reference: Reference) -> Item:
    """Build a reference.

    Parameters
    ----------
    reference : Card, Tag, Coin or Sheet
        The drawing.

    Returns
    -------
    dict of str to Part
        Shells in the reference's own frame, mm; the printed side is z = ``thickness_mm``.
    """
    if isinstance(reference, Card):
        return card_parts(reference)
    if isinstance(reference, Tag):
        return tag_parts(reference)
    if isinstance(reference, Coin):
        return coin_parts(reference)
    return sheet_parts(reference)


def printed(mesh: trimesh.Trimesh, size_mm: tuple[float, float], shift_mm: tuple[float, float]) -> trimesh.Trimesh:
    """Lay a print of the given size, its middle at ``shift_mm``, over a shell."""
    x, y = (np.asarray(mesh.vertices)[:, :2] - np.array(shift_mm)).T
    uv = np.column_stack([x / size_mm[0] + 0.5, 0.5 - y / size_mm[1]])
    return dressed(np.asarray(mesh.vertices), np.asarray(mesh.faces), np.asarray(mesh.vertex_normals), uv)


def card_parts(card: Card) -> Item:
    """Make a card with rounded corners."""
    radius = card.corner_radius_mm
    core = shapely.box(
        radius - card.width_mm / 2,
        radius - card.height_mm / 2,
        card.width_mm / 2 - radius,
        card.height_mm / 2 - radius,
    )
    mesh = shell_of(slab(core.buffer(radius, quad_segs=32), card.thickness_mm), span_mm=card.width_mm)
    mesh = printed(mesh, (card.width_mm, card.height_mm), (0.0, 0.0))
    return {"card": Part(mesh, "plastic", texture=card_texture(card))}


def tag_parts(tag: Tag) -> Item:
    """Make a square of paper; its print is ten cells across, of which the black square has eight."""
    half = tag.paper_mm / 2
    mesh = shell_of(slab(shapely.box(-half, -half, half, half), tag.thickness_mm), span_mm=tag.paper_mm)
    across = tag.black_mm * 10 / 8
    mesh = printed(mesh, (across, across), tag.shift_mm)
    return {"tag": Part(mesh, "paper", texture=tag_texture(tag), crisp=True)}


def sheet_parts(sheet: Sheet) -> Item:
    """Make a sheet as a thin grid that follows its curl, closed on all sides."""
    columns, rows = 43, 61
    x, y = np.meshgrid(
        np.linspace(-sheet.width_mm / 2, sheet.width_mm / 2, columns),
        np.linspace(-sheet.height_mm / 2, sheet.height_mm / 2, rows),
    )
    flat = np.column_stack([x.ravel(), y.ravel()])
    under = sheet.lift_mm(flat)
    vertices = np.concatenate([np.column_stack([flat, under]), np.column_stack([flat, under + sheet.thickness_mm])])
    mesh = shell(vertices, grid_faces(columns, rows), span_mm=sheet.width_mm)
    mesh = printed(mesh, (sheet.width_mm, sheet.height_mm), (0.0, 0.0))
    return {"sheet": Part(mesh, "paper", PAPER, texture=sheet_texture(sheet))}
