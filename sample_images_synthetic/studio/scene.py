"""One scene, drawn by its seed: rotor, reference, ground, light, camera, file, and what was told."""

import math
from dataclasses import dataclass, field, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from sample_images_synthetic.studio.camera import Camera, look_at, tilted
from sample_images_synthetic.studio.deliver import Delivery
from sample_images_synthetic.studio.develop import Development
from sample_images_synthetic.studio.iron import Finish
from sample_images_synthetic.studio.placement import Placed
from sample_images_synthetic.studio.rotor import Rotor

FloatArray = NDArray[np.float64]
Group = Literal["face-on", "edge", "on-car", "refuse"]
RIM_POINTS = 72
UP_BENCH, UP_WALL = np.array([0.0, 0.0, 1.0]), np.array([0.0, 1.0, 0.0])


@dataclass(frozen=True)
class Prop:
    """Clutter: which thing, drawn by which seed, where."""

    name: str
    seed: int
    rotation: FloatArray
    offset_mm: FloatArray


@dataclass(frozen=True)
class Scene:
    """Everything that decides one photo.

    Attributes
    ----------
    id, set_name : str
        ``c017`` of ``checking``, for instance.
    seed : int
        Of all that is not held below (textures, light, noise).
    group : str
        The contract's group.
    rotor : Rotor or None
        The drawing; None where a negative shows none.
    hat_up : bool
        Which side faces the camera.
    spin_rad : float
        Turn of the rotor about its axis.
    finish : Finish
        Wear and dirt.
    reference_kind, reference_detail, lies : str
        The contract's reference.
    placed : tuple of Placed
        Where its figures are.
    props : tuple of Prop
        Clutter.
    ground, light : str
        Keys of ``GROUNDS`` and ``LIGHTS``.
    up : (3,) ndarray
        Against gravity.
    camera : Camera
        Where the phone is.
    development, delivery
        What the phone and the way make of it.
    lower, base_mm : Rotor or None, float
        A second rotor that the first lies on, and how high it stands.
    told : dict
        Lengths that the user tells.
    expect : str
        ``measured`` or ``refused``, and the codes that fit.
    """

    id: str
    set_name: str
    seed: int
    group: Group
    rotor: Rotor | None
    hat_up: bool
    spin_rad: float
    finish: Finish
    reference_kind: str
    reference_detail: str
    lies: str | None
    placed: tuple[Placed, ...]
    props: tuple[Prop, ...]
    ground: str
    light: str
    up: FloatArray
    camera: Camera
    development: Development
    delivery: Delivery
    lower: Rotor | None = None
    base_mm: float = 0.0
    told: dict[str, float] = field(default_factory=dict)
    expect: Literal["measured", "refused"] = "measured"
    expect_codes: tuple[str, ...] = ()

    def rng(self, purpose: str) -> np.random.Generator:
        """Return a source of chance for one purpose, so that one change does not reshuffle the rest."""
        return np.random.default_rng([self.seed, *purpose.encode()])

    @property
    def ground_z_mm(self) -> float:
        """Height of the bench."""
        if self.rotor is None:
            return 0.0
        return -self.base_mm - (self.rotor.thickness_mm if self.hat_up else self.rotor.height_mm)

    def rim_mm(self) -> FloatArray:
        """Return the rim: the circle of ``diameter_mm`` at the upper end of the cylinder, (72, 3).

        With a chamfer this is the circle where the chamfer meets the cylinder, ``chamfer_mm`` below
        the face: what the silhouette shows wherever the wall turns away from the camera.
        """
        if self.rotor is None:
            return np.empty((0, 3))
        return circle_mm(self.rotor.diameter_mm / 2, self.rotor.rim_z_mm)

    def bolts_mm(self) -> FloatArray:
        """Middles of the bolt holes on the hat's top (hat up), (N, 3)."""
        if self.rotor is None:
            return np.empty((0, 3))
        a = self.spin_rad + 2 * math.pi * np.arange(self.rotor.bolt_count) / self.rotor.bolt_count
        r = self.rotor.bolt_circle_mm / 2
        return np.column_stack([r * np.cos(a), r * np.sin(a), np.full(len(a), self.rotor.hat_z_mm)])

    def outline_mm(self) -> FloatArray:
        """Return the rim's points and those of the references that lie in the scene: what the frame must hold."""
        return np.concatenate([self.rim_mm(), *[p.figure_mm() for p in self.placed]])

    def figure_mm(self) -> FloatArray:
        """Return the reference's figure, all its points, (N, 3)."""
        if self.reference_kind == "bolt-circle":
            return self.bolts_mm()
        return np.concatenate([p.figure_mm() for p in self.placed]) if self.placed else np.empty((0, 3))


def circle_mm(radius_mm: float, z_mm: float, count: int = RIM_POINTS) -> FloatArray:
    """Points of a coaxial circle, (count, 3)."""
    a = 2 * math.pi * np.arange(count) / count
    return np.column_stack([radius_mm * np.cos(a), radius_mm * np.sin(a), np.full(count, z_mm)])


@dataclass(frozen=True)
class Angles:
    """How the camera is held: tilt off the rotor's axis, where to, and the turn about its own axis; degrees."""

    tilt_deg: float
    azimuth_deg: float
    roll_deg: float


def framed(rng: np.random.Generator, camera: Camera, points_mm: FloatArray, *, angles: Angles, fill: float) -> Camera:
    """Stand so that all points are in the frame and span ``fill`` of it at most.

    The distance grows from 350 mm until they do; the target is their middle, a little off.
    """
    middle = (points_mm.min(axis=0) + points_mm.max(axis=0)) / 2
    direction = tilted(angles.tilt_deg, angles.azimuth_deg)
    span = float(np.ptp(points_mm, axis=0).max())
    target = middle + np.append(rng.normal(0, 0.03, 2) * span, 0.0)
    margin = (1 - fill) / 2 * min(camera.width, camera.height)
    distance = max(350.0, span)
    for _ in range(80):
        stood = replace(camera, pose=look_at(target, direction, distance, angles.roll_deg))
        if stood.sees(points_mm, margin):
            break
        distance *= 1.03
    return stood
