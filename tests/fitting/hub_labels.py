"""Where bolts, rivets and the bore are in a rendered rotor's photo, from the drawing of its scene."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from sample_images_synthetic.studio.draw import draw_scene
from sample_images_synthetic.studio.rotor import FLANGE_MM, TAB_MM, Rotor, rivet_spots
from sample_images_synthetic.studio.scene import Scene
from sample_images_synthetic.studio.wheel import WheelSizes
from vision.circle_pose import circle
from vision.measurement import FloatArray
from vision.ring import Face

BORE_POINTS = 48
# Bolt holes are chamfered where the hat is bolted on.
CHAMFER_MM = 0.5
# How far a face's inner edge is broken.
BREAK_MM = 0.3


@dataclass(frozen=True, eq=False)
class Hub:
    """What a net shall see, in pixels of the photo.

    Attributes
    ----------
    hat_up : bool
    bolts_px, rivets_px : (N, 2) ndarray
        Middles of those that the ring doesn't hide.
    bore_px : (N, 2) ndarray
        Outline of the centre bore; empty where a wheel covers it.
    holes_px : list of (N, 2) ndarray
        Outlines of the bolt holes, studs in them or not; none where a wheel covers them.
    """

    hat_up: bool
    bolts_px: FloatArray
    rivets_px: FloatArray
    bore_px: FloatArray
    holes_px: list[FloatArray] = field(default_factory=list)

    @classmethod
    def of(cls, row: Mapping[str, Any], face: Face) -> "Hub":
        """Draw the scene of a row of ``truth.json`` again; ``face`` has its rim at z = 0, posed by its truth."""
        return cls.drawn(*_rotor(row), face)

    @classmethod
    def drawn(cls, scene: Scene, rotor: Rotor, face: Face) -> "Hub":
        """Carry a scene's holes to its photo."""
        turn = 2 * np.pi * np.arange(rotor.bolt_count) / rotor.bolt_count
        hat_mm = rotor.hat_z_mm - (0.0 if scene.hat_up else rotor.hat_plate_mm)
        bolts = at_height(rotor.bolt_circle_mm / 2, turn, hat_mm)
        bore = circle(rotor.centre_bore_mm / 2, BORE_POINTS, hat_mm)
        radius_mm = rotor.bolt_hole_mm / 2 + (CHAMFER_MM if scene.hat_up else 0.0)
        holes = [circle(radius_mm, BORE_POINTS, 0.0) + middle for middle in bolts]
        wheel = next((prop for prop in scene.props if prop.name.startswith("spoked_wheel")), None)
        if wheel is not None:
            sizes = WheelSizes.draw(np.random.default_rng(wheel.seed), rotor)
            ahead = np.arctan2(wheel.rotation[1, 0], wheel.rotation[0, 0])
            bolts = at_height(rotor.bolt_circle_mm / 2, turn + ahead - scene.spin_rad, sizes.bolts_z_mm)
            bore, holes = bore[:0], []
        posed = [_posed(points, scene, rotor) for points in (bolts, _rivets(rotor, scene.hat_up), bore, *holes)]
        shown = [points[_clear(points, scene, rotor, face)] for points in posed[:2]]
        around = [points for points in posed[3:] if _clear(points, scene, rotor, face).all()]
        bolts_px, rivets_px, bore_px, *holes_px = (face.to_pixels(points) for points in (*shown, posed[2], *around))
        return cls(scene.hat_up, bolts_px, rivets_px, bore_px, holes_px)


def inner_edge_mm(row: Mapping[str, Any]) -> float:
    """Return how high over the rim's plane a rotor's inner edge lies, under the break of its face's edge."""
    return float(-_rotor(row)[1].rim_z_mm - BREAK_MM)


def hat_outline_px(row: Mapping[str, Any], face: Face) -> FloatArray:
    """Return points round a hat that stands toward the camera, (N, 2): all that it hides lies in their hull."""
    scene, rotor = _rotor(row)
    if not scene.hat_up:
        return np.empty((0, 2))
    radius_mm, fillet_mm = rotor.hat_mm / 2, rotor.hat_fillet_mm
    heights_mm = {-rotor.undercut_mm: radius_mm, rotor.hat_z_mm - fillet_mm: radius_mm}
    heights_mm |= {rotor.hat_z_mm - 0.3 * fillet_mm: radius_mm - 0.3 * fillet_mm}
    rounds = [circle(radius, 4 * BORE_POINTS, height) for height, radius in heights_mm.items()]
    return face.to_pixels(_posed(np.concatenate(rounds), scene, rotor))


def _rotor(row: Mapping[str, Any]) -> tuple[Scene, Rotor]:
    """Draw the scene of a row of ``truth.json`` again."""
    scene = draw_scene(row["made"]["set"], int(row["id"][1:]))
    if scene.rotor is None:
        raise ValueError(f"{row['id']} shows no rotor: leave it out")
    return scene, scene.rotor


def at_height(radius_mm: float, turn_rad: FloatArray, height_mm: float) -> FloatArray:
    """Points round the axis, (N, 3)."""
    return np.column_stack([radius_mm * np.cos(turn_rad), radius_mm * np.sin(turn_rad), 0 * turn_rad + height_mm])


def _rivets(rotor: Rotor, hat_up: bool) -> FloatArray:
    joint = rotor.joint
    if joint is None:
        return np.empty((0, 3))
    height_mm = FLANGE_MM + joint.head_height_mm if hat_up else -TAB_MM - 1.5
    spots = np.array(rivet_spots(joint))
    return np.column_stack([spots, np.full(len(spots), height_mm - rotor.undercut_mm)])


def _posed(own_mm: FloatArray, scene: Scene, rotor: Rotor) -> FloatArray:
    """Turn a rotor's own points over and about its axis, as it lies in the scene, its rim at z = 0."""
    x, y, z = own_mm.T
    if not scene.hat_up:
        y, z = -y, -(z + rotor.thickness_mm)
    cos, sin = np.cos(scene.spin_rad), np.sin(scene.spin_rad)
    return np.column_stack([x * cos - y * sin, x * sin + y * cos, z - rotor.rim_z_mm])


def _clear(points_mm: FloatArray, scene: Scene, rotor: Rotor, face: Face) -> Any:
    """Whether the ring doesn't stand before a point that lies behind its face."""
    if scene.hat_up or not len(points_mm):
        return np.ones(len(points_mm), bool)
    through = face.to_plane(face.to_pixels(points_mm), 0.0)
    return np.hypot(*through.T) < rotor.ring_inner_mm / 2 - 2.0
