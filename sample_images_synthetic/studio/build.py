"""From a scene to its stage: meshes, textures, light."""

from typing import Any

import numpy as np
from numpy.typing import NDArray

from sample_images_synthetic.studio.car_parts import caliper, dust_shield, hub, spoked_wheel, wheel_arch
from sample_images_synthetic.studio.clutter import bench_thing, flat_magnet, tape_strip
from sample_images_synthetic.studio.ground import GROUNDS
from sample_images_synthetic.studio.iron import draw_finish
from sample_images_synthetic.studio.item import Part
from sample_images_synthetic.studio.label import paper_label
from sample_images_synthetic.studio.light import LIGHTS
from sample_images_synthetic.studio.material import Surface, flat
from sample_images_synthetic.studio.piece import Piece, ground_piece, piece_of, rotor_pieces
from sample_images_synthetic.studio.placement import turned
from sample_images_synthetic.studio.reference_mesh import reference_parts
from sample_images_synthetic.studio.rotor import draw_rotor
from sample_images_synthetic.studio.scene import Prop, Scene
from sample_images_synthetic.studio.stage import Stage

FloatArray = NDArray[np.float64]

FINISHES: dict[str, tuple[float, float, float]] = {
    "plastic": (0.35, 0.0, 0.3),
    "paper": (0.9, 0.0, 0.0),
    "rubber": (0.7, 0.0, 0.0),
    "metal": (0.32, 1.0, 0.0),
    "paint": (0.3, 0.0, 0.6),
    "cloth": (0.95, 0.0, 0.0),
    "skin": (0.5, 0.0, 0.0),
    "wood": (0.6, 0.0, 0.0),
}
"""Roughness, metallic and clearcoat of each finish."""


def stage_of(scene: Scene) -> Stage:
    """Build the meshes, textures and light of a scene."""
    pieces: list[Piece] = []
    if scene.rotor is not None:
        own = rotor_pieces(scene.rotor, scene.finish, scene.rng("rotor"), hat_up=scene.hat_up)
        pieces += [p.moved(turned(scene.spin_rad), np.zeros(3)) for p in own]
    for placed in scene.placed:
        pieces += [
            item_piece(p).moved(placed.rotation, placed.offset_mm) for p in reference_parts(placed.reference).values()
        ]
    for prop in scene.props:
        pieces += [p.moved(prop.rotation, prop.offset_mm) for p in prop_pieces(scene, prop)]
    if scene.lower and scene.rotor:
        below = rotor_pieces(scene.lower, scene.finish, scene.rng("lower"), hat_up=True)
        pieces += [p.moved(np.eye(3), np.array([0.0, 0.0, -scene.rotor.thickness_mm])) for p in below]
    pieces += floor_pieces(scene)
    light = LIGHTS[scene.light](scene.rng("light"))
    return Stage(pieces, light, scene.up, scene.camera)


def floor_pieces(scene: Scene) -> list[Piece]:
    """Lay the ground under the rotor, wherever down is."""
    rng = scene.rng("ground")
    surface, turn = GROUNDS[scene.ground](rng), float(rng.uniform(0, 360))
    if scene.up[2] > 0.5:
        return [ground_piece(surface, scene.ground_z_mm, turn)]
    assert scene.rotor is not None
    upright = np.array([[1.0, 0, 0], [0, 0, 1], [0, -1, 0]])  # z to +y
    floor = ground_piece(surface, 0.0, turn)
    drop = scene.rotor.diameter_mm / 2 + (260.0 if scene.group == "on-car" or scene.props else 0.0)
    return [floor.moved(upright, np.array([0.0, -drop, 0.0]))]


def prop_pieces(scene: Scene, prop: Prop) -> list[Piece]:
    """Build a piece of clutter or of the car."""
    rng = np.random.default_rng(prop.seed)
    name, _, size = prop.name.partition(" ")
    rotor = scene.rotor
    if name == "rotor":
        other = draw_rotor(rng)
        up = np.array([0.0, 0.0, other.thickness_mm])
        own = rotor_pieces(other, draw_finish(rng, used=other.wear_mm > 0), rng, hat_up=True)
        return [p.moved(np.eye(3), up) for p in own]
    if name == "label":
        return [item_piece(paper_label(rng))]
    if name in HOLDERS:
        item = HOLDERS[name](rng, thickness_mm=float(size))
    elif name == "wheel_arch":
        item = wheel_arch(rng)
    elif name == "caliper" and rotor:
        item = caliper(rng, rotor, span_deg=float(rng.uniform(60, 95)))
    elif name == "spoked_wheel" and rotor:
        item = spoked_wheel(rng, rotor, spokes=int(size))
    elif name in CAR_PARTS and rotor:
        item = CAR_PARTS[name](rng, rotor)
    else:
        item = bench_thing(rng, name)
    return [item_piece(part) for part in item.values()]


HOLDERS = {"tape_strip": tape_strip, "flat_magnet": flat_magnet}
CAR_PARTS = {"dust_shield": dust_shield, "hub": hub}


def item_piece(part: Part) -> Piece:
    """Give an item's part its material."""
    surface = item_surface(part)
    visual: Any = part.mesh.visual
    uv = np.asarray(visual.uv) if part.texture is not None else np.zeros((len(part.mesh.vertices), 2))
    return piece_of(part.mesh, surface, uv)


def item_surface(part: Part) -> Surface:
    """One of the finishes, in one colour or printed."""
    roughness, metallic, clearcoat = FINISHES[part.finish]
    plain = flat(part.colour, roughness, metallic, clearcoat)
    if part.texture is None:
        return plain
    srgb = part.texture.astype(np.float32) / 255
    linear = np.where(srgb <= 0.04045, srgb / 12.92, ((srgb + 0.055) / 1.055) ** 2.4).astype(np.float32)
    shape = linear.shape[:2]
    return Surface(
        np.clip(linear, 0.012, 0.85),
        np.full(shape, roughness, np.float32),
        np.full(shape, metallic, np.float32),
        clearcoat=clearcoat,
        crisp=part.crisp,
    )
