"""A brake rotor as a drawing: every length that a mesh, a picture's truth or a catalogue row needs.

Frame: millimetres, right-handed. The plane z = 0 is the friction face *as made*, outward normal +z, the axis runs
through the origin, the hat protrudes to z > 0 (hat up; turn the whole rotor over for hat down) and the wall runs
from z = 0 to z = -thickness_mm. On a worn rotor only the unworn lip still lies at z = 0: the swept band lies at
``swept_z_mm`` = -wear_mm. The cylinder's silhouette starts below the chamfer, at ``rim_z_mm`` = -chamfer_mm.

``height_mm`` is the overall height as the trade states it: from the friction ring's far face (z = -thickness_mm)
to the hat's mounting face. So the hat's top lies at ``hat_z_mm`` = height_mm - thickness_mm.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from sample_images_synthetic.studio.pattern import SURFACES, Band, Pattern, Surface, draw_pattern

TAB_MM = 6.0  # the two-piece ring's inner flange
FLANGE_MM = 4.5  # the aluminium hat's outer flange

Ventilation = Literal["vented", "solid"]
Construction = Literal["one-piece", "two-piece"]

PITCH_CIRCLES_MM = (98.0, 100.0, 108.0, 110.0, 112.0, 114.3, 115.0, 118.0, 120.0, 127.0, 130.0)
SOLID_UP_TO_MM = 14.0


@dataclass(frozen=True)
class Vanes:
    """The vanes between a vented ring's cheeks; the lean is the angle from the radius, 0 for straight ones."""

    count: int
    width_mm: float
    lean_rad: float
    cheek_mm: float
    recess_mm: float


@dataclass(frozen=True)
class Joint:
    """A two-piece rotor's joint: rivets or pins on a circle that tie an aluminium hat to the ring."""

    rivet_count: int
    rivet_circle_mm: float
    head_mm: float
    head_height_mm: float
    style: Literal["rivet", "pin", "bolt"]
    scalloped: bool


@dataclass(frozen=True)
class Rotor:
    """One rotor; lengths in mm, diameters unless named otherwise.

    ``thickness_mm`` is the silhouette at the outer edge (the unworn lip where there is one), ``swept_thickness_mm``
    what is left between the pads. ``hat_mm`` is the hat wall's outer diameter at its top, before the fillet.
    ``ring_inner_mm`` is where the face ends: at the undercut (one-piece) or the joint (two-piece).
    """

    diameter_mm: float
    thickness_mm: float
    swept_thickness_mm: float
    height_mm: float
    ring_inner_mm: float
    hat_mm: float
    centre_bore_mm: float
    bolt_count: int
    bolt_circle_mm: float
    bolt_hole_mm: float
    surface: Surface
    pattern: Pattern
    swept_outer_mm: float
    swept_inner_mm: float
    chamfer_mm: float
    undercut_mm: float
    hat_plate_mm: float
    hat_fillet_mm: float
    locating_holes: tuple[tuple[float, float, float], ...]
    vanes: Vanes | None
    joint: Joint | None

    @property
    def ventilation(self) -> Ventilation:
        """``vented`` where there are vanes."""
        return "vented" if self.vanes else "solid"

    @property
    def construction(self) -> Construction:
        """``two-piece`` where there is a joint."""
        return "two-piece" if self.joint else "one-piece"

    @property
    def feature_count(self) -> int:
        """Holes, dimples and slots of the face together."""
        return self.pattern.feature_count

    @property
    def wear_mm(self) -> float:
        """Worn off each face."""
        return (self.thickness_mm - self.swept_thickness_mm) / 2

    @property
    def swept_z_mm(self) -> float:
        """Height of the pads' band, where a reference on the face lies."""
        return -self.wear_mm

    @property
    def rim_z_mm(self) -> float:
        """Height of the cylinder's upper edge, under the chamfer."""
        return -self.chamfer_mm

    @property
    def hat_z_mm(self) -> float:
        """Height of the hat's mounting face."""
        return self.height_mm - self.thickness_mm

    def truth(self) -> dict[str, float | int | str]:
        """Give the rotor's part of ``truth.json``, rounded to a micrometre."""
        lengths = (
            "diameter_mm ring_inner_mm hat_mm centre_bore_mm bolt_circle_mm thickness_mm swept_thickness_mm height_mm"
        )
        words = ("bolt_count", "ventilation", "construction", "surface", "feature_count")
        return {name: round(float(getattr(self, name)), 3) for name in lengths.split()} | {
            name: getattr(self, name) for name in words
        }


def draw_rotor(
    rng: np.random.Generator,
    *,
    surface: Surface | None = None,
    ventilation: Ventilation | None = None,
    construction: Construction | None = None,
    used: bool | None = None,
) -> Rotor:
    """Draw one plausible rotor.

    Parameters
    ----------
    rng : numpy Generator
        Source of every choice: the same state and arguments give the same rotor.
    surface, ventilation, construction, used : optional
        What to hold fixed; each is drawn where absent. A two-piece rotor is always vented.

    Returns
    -------
    Rotor
        Diameter 250 to 400 mm, thickness 8 to 38 mm, solid up to 14 mm.
    """
    kinds = settle_kinds(rng, Kinds(surface, ventilation, construction, used))
    diameter_mm = draw_diameter(rng, kinds)
    thickness_mm = draw_thickness(rng, kinds, diameter_mm)
    ring_inner_mm = diameter_mm - 2 * draw_friction_width(rng, diameter_mm)
    joint = draw_joint(rng, ring_inner_mm) if kinds.construction == "two-piece" else None
    hat_mm = draw_hat(rng, ring_inner_mm, joint)
    chamfer_mm = float(rng.uniform(0.5, 1.5))
    wear_mm = draw_wear(rng, thickness_mm) if kinds.used else 0.0
    lip_mm, inner_lip_mm = (float(rng.uniform(1, 4)), float(rng.uniform(1, 5))) if kinds.used else (0.0, 0.0)
    band = Band(ring_inner_mm / 2 + inner_lip_mm, diameter_mm / 2 - chamfer_mm - lip_mm)
    vanes = draw_vanes(rng, thickness_mm, wear_mm) if kinds.ventilation == "vented" else None
    undercut_mm = float(rng.uniform(1.0, 3.0)) + wear_mm
    return Rotor(
        diameter_mm=diameter_mm,
        thickness_mm=thickness_mm,
        swept_thickness_mm=thickness_mm - 2 * wear_mm,
        height_mm=draw_height(rng, thickness_mm),
        ring_inner_mm=ring_inner_mm,
        hat_mm=hat_mm,
        surface=kinds.surface or "plain",
        pattern=draw_pattern(rng, kinds.surface or "plain", band),
        swept_outer_mm=2 * band.outer_mm,
        swept_inner_mm=2 * band.inner_mm,
        chamfer_mm=chamfer_mm,
        undercut_mm=undercut_mm if vanes else min(undercut_mm, 0.3 * thickness_mm),
        hat_plate_mm=float(rng.uniform(5.5, 8.5)),
        hat_fillet_mm=float(rng.uniform(1.0, 4.0)),
        vanes=vanes,
        joint=joint,
        **vars(draw_mounting(rng, hat_mm)),
    )


@dataclass(frozen=True)
class Kinds:
    """What sort of rotor it is; None where it is still to be drawn."""

    surface: Surface | None
    ventilation: Ventilation | None
    construction: Construction | None
    used: bool | None


def settle_kinds(rng: np.random.Generator, given: Kinds) -> Kinds:
    """Draw the kinds that are not given."""
    surface = given.surface or SURFACES[int(rng.integers(len(SURFACES)))]
    construction, ventilation = given.construction, given.ventilation
    if construction is None:
        construction = "two-piece" if ventilation != "solid" and rng.random() < 0.25 else "one-piece"
    if ventilation is None:
        ventilation = "vented" if construction == "two-piece" or rng.random() < 0.7 else "solid"
    used = bool(rng.random() < 0.6) if given.used is None else given.used
    return Kinds(surface, ventilation, construction, used)


def draw_hat(rng: np.random.Generator, ring_inner_mm: float, joint: Joint | None) -> float:
    """Diameter of the hat: inside the undercut, or inside the rivets' heads."""
    groove_mm = float(rng.uniform(1.8, 6.0))
    if joint is None:
        return ring_inner_mm - 2 * groove_mm
    return joint.rivet_circle_mm - joint.head_mm - 2 * float(rng.uniform(2, 6))


def draw_diameter(rng: np.random.Generator, kinds: Kinds) -> float:
    """Diameter: two-piece rotors are large, solid ones rarely so."""
    low, high = (250.0, 400.0)
    if kinds.construction == "two-piece":
        low = 320.0
    elif kinds.ventilation == "solid":
        high = 345.0
    return float(rng.uniform(low, high))


def draw_thickness(rng: np.random.Generator, kinds: Kinds, diameter_mm: float) -> float:
    """Thickness: 8 to 14 mm solid; 16 to 38 mm vented, larger rotors being thicker."""
    if kinds.ventilation == "solid":
        return float(rng.uniform(8.0, SOLID_UP_TO_MM))
    usual_mm = 20 + (diameter_mm - 250) / 150 * 14
    return float(np.clip(rng.normal(usual_mm, 3.0), 16.0, 38.0))


def draw_friction_width(rng: np.random.Generator, diameter_mm: float) -> float:
    """Width of the ring's face: 45 to 70 mm, larger rotors having more."""
    return float(np.clip(rng.normal(45 + (diameter_mm - 250) / 150 * 20, 4.0), 45.0, 70.0))


def draw_wear(rng: np.random.Generator, thickness_mm: float) -> float:
    """Worn off each face: 0.1 to 1.5 mm, less on thin rotors."""
    return float(rng.uniform(0.1, min(1.5, 0.07 * thickness_mm)))


def draw_height(rng: np.random.Generator, thickness_mm: float) -> float:
    """Overall height: 25 to 75 mm, the hat standing 10 mm proud of the face at least."""
    return float(rng.uniform(max(25.0, thickness_mm + 10.0), 75.0))


def draw_vanes(rng: np.random.Generator, thickness_mm: float, wear_mm: float) -> Vanes:
    """30 to 60 vanes, straight or leaning; the cheeks keep 4 mm of iron when worn."""
    cheek_mm = float(max(thickness_mm * rng.uniform(0.26, 0.36), 4.0 + wear_mm))
    lean_rad = 0.0 if rng.random() < 0.5 else float(np.radians(rng.uniform(20, 50)) * rng.choice([-1, 1]))
    count, width_mm = int(rng.integers(30, 61)), float(rng.uniform(3.5, 6.0))
    return Vanes(count, width_mm, lean_rad, cheek_mm, recess_mm=float(rng.uniform(0.0, 3.0)))


def draw_joint(rng: np.random.Generator, ring_inner_mm: float) -> Joint:
    """8 to 14 rivets, pins or bolts, just inside the ring."""
    head_mm = float(rng.uniform(8, 13))
    style: Literal["rivet", "pin", "bolt"] = ("rivet", "pin", "bolt")[int(rng.integers(3))]
    circle_mm = ring_inner_mm - head_mm - float(rng.uniform(3, 6))
    height_mm = float(rng.uniform(0.8, 2.5) if style != "bolt" else rng.uniform(3.5, 5.0))
    return Joint(int(rng.integers(8, 15)), circle_mm, head_mm, height_mm, style, bool(rng.random() < 0.5))


def rivet_spots(joint: Joint) -> list[tuple[float, float]]:
    """Rivet centres, mm."""
    angles = 2 * np.pi * np.arange(joint.rivet_count) / joint.rivet_count
    radius = joint.rivet_circle_mm / 2
    return [(radius * float(np.cos(a)), radius * float(np.sin(a))) for a in angles]


@dataclass(frozen=True)
class Mounting:
    """Holes of the hat's plate; locating holes as (diameter, circle's diameter, angle in rad)."""

    bolt_count: int
    bolt_circle_mm: float
    bolt_hole_mm: float
    centre_bore_mm: float
    locating_holes: tuple[tuple[float, float, float], ...]


def draw_mounting(rng: np.random.Generator, hat_mm: float) -> Mounting:
    """Draw bolt holes, centre bore and up to two locating holes that fit on the hat's plate."""
    fitting = [p for p in PITCH_CIRCLES_MM if p <= hat_mm - 26]
    circle_mm = float(rng.choice(fitting or PITCH_CIRCLES_MM[:1]))
    hole_mm = float(rng.uniform(12.5, 16.0))
    bore_mm = float(rng.uniform(55.0, min(80.0, circle_mm - hole_mm - 8.0)))
    count = int(rng.choice([4, 5, 6], p=[0.25, 0.6, 0.15]))
    locating = tuple(
        (float(rng.uniform(5.5, 9.0)), circle_mm, np.pi / count * (2 * i * (count // 2) + 1))
        for i in range(int(rng.integers(0, 3)))
    )
    return Mounting(count, circle_mm, hole_mm, bore_mm, locating)
