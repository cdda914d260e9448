"""Where a reference can lie: on the ring, on the hat, on the bench, or held on a car's rotor."""

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import ArrayLike, NDArray

from sample_images_synthetic.studio.reference import Coin, Reference, Sheet, Tag
from sample_images_synthetic.studio.rotor import Rotor

FloatArray = NDArray[np.float64]


@dataclass(frozen=True)
class Placed:
    """A reference in the world.

    Attributes
    ----------
    reference : Reference
        The drawing.
    rotation : (3, 3) ndarray
        From its own frame to the world.
    offset_mm : (3,) ndarray
        Where its middle's under side lies.
    """

    reference: Reference
    rotation: FloatArray
    offset_mm: FloatArray

    def world(self, points_mm: ArrayLike) -> FloatArray:
        """Points of its own frame, in the world."""
        return np.asarray(points_mm, np.float64) @ self.rotation.T + self.offset_mm

    def figure_mm(self) -> FloatArray:
        """Its figure in the world."""
        return self.world(self.reference.figure_mm())


def turned(angle_rad: float) -> FloatArray:
    """Rotation about z."""
    c, s = math.cos(angle_rad), math.sin(angle_rad)
    return np.array([[c, -s, 0], [s, c, 0], [0, 0, 1.0]])


def half_size_mm(reference: Reference) -> tuple[float, float]:
    """Half of the outline's width and height."""
    if isinstance(reference, Tag):
        return reference.paper_mm / 2, reference.paper_mm / 2
    if isinstance(reference, Coin):
        return reference.diameter_mm / 2, reference.diameter_mm / 2
    return reference.width_mm / 2, reference.height_mm / 2


def inner_limit_mm(rotor: Rotor, *, hat_up: bool) -> float:
    """Radius that a thing on the face must stay outside of: the hat's wall or, hat down, the opening."""
    if hat_up:
        return max(rotor.hat_mm, rotor.ring_inner_mm if rotor.joint else 0.0) / 2 + 1.5
    return rotor.ring_inner_mm / 2 - 12.0


def on_face(
    rng: np.random.Generator,
    rotor: Rotor,
    reference: Reference,
    angle_rad: float,
    *,
    hat_up: bool,
    lift_mm: float = 0.0,
) -> Placed | None:
    """Lay a reference on the friction ring at an angle; None where it does not fit.

    A tag is lined up with the radius, a card with the tangent, both a little askew; a coin lies
    anywhere on the pads' band. What reaches past the worn band rests on the unworn lip.
    """
    half_w, half_h = half_size_mm(reference)
    inner, outer = inner_limit_mm(rotor, hat_up=hat_up), rotor.diameter_mm / 2 - rotor.chamfer_mm
    if isinstance(reference, Coin):
        low, high = rotor.swept_inner_mm / 2 + half_w + 1, rotor.swept_outer_mm / 2 - half_w - 1
        radius, askew = float(rng.uniform(low, high)), float(rng.uniform(0, 2 * math.pi))
        z = rotor.swept_z_mm
    else:
        askew = math.radians(float(np.clip(rng.normal(0, 2.5), -7, 7)))
        grown_h = half_h * math.cos(askew) + half_w * abs(math.sin(askew))
        low = inner + grown_h
        high = math.sqrt(max(outer**2 - half_w**2, 0)) - grown_h
        if isinstance(reference, Tag) and high < low:
            high = low + 1e-6 if low + grown_h < outer + 4 else high
        if high < low:
            return None
        radius, z = float(rng.uniform(low, high)), 0.0
    turn = turned(angle_rad - math.pi / 2 + askew + (math.pi if rng.random() < 0.5 else 0.0))
    where = np.array([radius * math.cos(angle_rad), radius * math.sin(angle_rad), z + lift_mm])
    return Placed(reference, turn, where)


def on_hat(rng: np.random.Generator, rotor: Rotor, reference: Reference) -> Placed:
    """Lay a reference over the hat's top, beside or across the bore."""
    half_w, _ = half_size_mm(reference)
    reach = max(rotor.hat_mm / 2 - half_w, 4.0) * 0.6
    a, r = rng.uniform(0, 2 * math.pi), reach * math.sqrt(rng.random())
    where = np.array([r * math.cos(a), r * math.sin(a), rotor.hat_z_mm])
    return Placed(reference, turned(rng.uniform(0, 2 * math.pi)), where)


def on_bench(
    rng: np.random.Generator, rotor: Rotor, reference: Reference, angle_rad: float, *, hat_up: bool, under: bool = False
) -> Placed:
    """Lay a reference beside the rotor; ``under`` pushes a sheet part of the way below it."""
    half_w, half_h = half_size_mm(reference)
    turn = rng.uniform(0, 2 * math.pi) if not isinstance(reference, Sheet) else angle_rad + rng.choice([0, math.pi / 2])
    askew = turn + math.radians(rng.normal(0, 4)) - angle_rad
    reach = half_w * abs(math.cos(askew)) + half_h * abs(math.sin(askew))
    if isinstance(reference, Coin):
        reach = half_w
    radius = rotor.diameter_mm / 2 + reach + float(rng.uniform(6, 35))
    if under:
        radius -= float(rng.uniform(0.3, 0.8)) * reach
    z = -rotor.thickness_mm if hat_up else -rotor.height_mm
    where = np.array([radius * math.cos(angle_rad), radius * math.sin(angle_rad), z])
    return Placed(reference, turned(askew + angle_rad), where)


def beside_edge(rng: np.random.Generator, rotor: Rotor, reference: Reference, *, floor_axis: int) -> Placed:
    """Stand a reference in the plane that touches the rim nearest to the camera (at +x).

    ``floor_axis`` 2: the rotor lies and the reference stands beside it; 1: the rotor stands.
    """
    half_w, half_h = half_size_mm(reference)
    side = float(rng.choice([-1, 1]))
    facing = np.array([[0, 0, 1.0], [1, 0, 0], [0, 1, 0]])  # its face to +x, its top to +z
    roll = turned(math.radians(rng.normal(0, 2)))
    front = rotor.diameter_mm / 2 - reference.thickness_mm
    if floor_axis == 2:
        where = np.array([front, side * (half_w + rng.uniform(3, 40)), -rotor.thickness_mm + half_h + 1.0])
        return Placed(reference, facing @ roll, where)
    z = rotor.hat_z_mm + half_w + rng.uniform(4, 20) if side > 0 else -rotor.thickness_mm - half_w - rng.uniform(3, 25)
    upright = np.array([[0, 0, 1.0], [0, 1, 0], [-1, 0, 0]])
    return Placed(reference, upright @ roll, np.array([front, rng.uniform(-0.25, 0.1) * rotor.diameter_mm, z]))


def hidden(points_mm: FloatArray, eye_mm: FloatArray, radius_mm: float, span_mm: tuple[float, float]) -> bool:
    """Whether a coaxial cylinder from foot to top (``span_mm``) stands between the eye and any of the points."""
    t = np.linspace(0.01, 0.995, 60)[:, None, None]
    way = points_mm[None] * (1 - t) + eye_mm * t
    inside = (np.hypot(way[..., 0], way[..., 1]) < radius_mm) & (way[..., 2] < span_mm[1]) & (way[..., 2] > span_mm[0])
    return bool(inside.any())
