"""What the fit compares with the photo: circles round the rotor's axis, and references lying somewhere.

A term holds edge samples and says how far from its curve they lie on its plane in a batch of trial scenes. A trial
scene is a mapping of names to arrays (B, 1), so that one call gives a whole numerical Jacobian.
"""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Protocol

import numpy as np
import numpy.typing as npt

from vision.camera import Camera, Pose, turned
from vision.figure import EdgeSamples, Figure
from vision.measurement import FloatArray

Values = Mapping[str, FloatArray]
Height = Mapping[str, float]


@dataclass(frozen=True)
class View:
    """A batch of trial cameras over trial rotors."""

    camera: Camera
    pose: Pose

    @classmethod
    def of(cls, values: Values, frame: FloatArray, size_px: tuple[int, int]) -> "View":
        """Build the view from the unknowns ``log_focal, shift_x, shift_y, k1, lean_x, lean_y, at_x, at_y, log_far``.

        Parameters
        ----------
        values : mapping of str to (B, 1) ndarray
        frame : (3, 3) ndarray
            The rotation that the leans start from.
        size_px : (int, int)
            Width and height.
        """
        width_px, height_px = size_px
        camera = Camera(
            np.exp(values["log_focal"]),
            (width_px - 1) / 2 + values["shift_x"] * width_px,
            (height_px - 1) / 2 + values["shift_y"] * width_px,
            values["k1"],
        )
        rotation = turned(frame, values["lean_x"][:, 0], values["lean_y"][:, 0])
        far_mm = np.exp(values["log_far"][:, 0])
        centre_mm = np.stack([values["at_x"][:, 0] * far_mm, values["at_y"][:, 0] * far_mm, far_mm], axis=-1)
        return cls(camera, Pose(rotation, centre_mm))

    def trace(self, xy_px: FloatArray, height_mm: FloatArray | float) -> "Trace":
        """Carry pixels (N, 2) to the plane at ``height_mm``, with the derivatives by the pixel's coordinates."""
        ray_x, ray_y = self.camera.rays(xy_px)
        axes, centre = self.pose.rotation[..., None], self.pose.centre_mm
        offset = np.einsum("...ij,...i->...j", self.pose.rotation, centre)[..., None, :]
        along = [ray_x * axes[..., 0, i, :] + ray_y * axes[..., 1, i, :] + axes[..., 2, i, :] for i in range(3)]
        stretch = (height_mm + offset[..., 2]) / along[2]
        at, slope = [], []
        for i in range(2):
            lean = along[i] / along[2]
            at.append(stretch * along[i] - offset[..., i])
            slope.append([stretch * (axes[..., j, i, :] - lean * axes[..., j, 2, :]) for j in range(2)])
        return Trace(self.camera, (ray_x, ray_y), (at[0], at[1]), (*slope[0], *slope[1]))


@dataclass(frozen=True)
class Gap:
    """How far points of a plane lie outside a curve, and the unit direction that is outward there; (B, N) arrays.

    ``wave_px`` is how far outward of the curve the edge that is seen is taken to run.
    """

    gap_mm: FloatArray
    out_x: FloatArray
    out_y: FloatArray
    wave_px: FloatArray | float = 0.0


@dataclass(frozen=True)
class Trace:
    """Where pixels meet a plane, and how fast they move on it; every array is (B, N).

    Attributes
    ----------
    camera : Camera
    ray : pair
        The pixels' rays, ``x/z`` and ``y/z``.
    at : pair
        ``x`` and ``y`` on the plane, mm.
    slope : four arrays
        ``dx/dray_x, dx/dray_y, dy/dray_x, dy/dray_y``, mm.
    """

    camera: Camera
    ray: tuple[FloatArray, FloatArray]
    at: tuple[FloatArray, FloatArray]
    slope: tuple[FloatArray, FloatArray, FloatArray, FloatArray]

    def gap_px(self, gap: Gap) -> FloatArray:
        """Turn distances on the plane into pixels along the edges' normals.

        The scale follows every trial scene, its distortion included: held fast, it would reward scenes that shrink
        all distances.
        """
        u = gap.out_x * self.slope[0] + gap.out_y * self.slope[2]
        v = gap.out_x * self.slope[1] + gap.out_y * self.slope[3]
        ray_x, ray_y = self.ray
        bend = self.camera.k1 * (ray_x**2 + ray_y**2)
        pull = 2 * self.camera.k1 * (u * ray_x + v * ray_y) / (1 + 3 * bend)
        u, v = u - pull * ray_x, v - pull * ray_y
        return gap.gap_mm * self.camera.focal_px * (1 + bend) / np.sqrt(u**2 + v**2)


def curl_name(name: str, corner: int) -> str:
    """Return what the unknown is called by which a corner of a reference curls up, mm."""
    return f"{name}_curl_{corner}"


class Term(Protocol):
    """Edge samples and the curve they belong to."""

    @property
    def samples(self) -> EdgeSamples:
        """The samples in the photo."""

    @property
    def offset_name(self) -> str:
        """The unknown that shifts all of this curve's edges outward, px."""

    @property
    def curve(self) -> str:
        """The curve that the samples are of: bright and dark parts of a rim are one."""

    @property
    def gives_scale(self) -> bool:
        """Whether the diameter rests on this curve: the rim's and the references' do."""

    @property
    def lifts(self) -> Mapping[str, FloatArray | float]:
        """How high each sample lies: named heights by their shares, that of "" a length itself, mm."""

    def gap(self, at: tuple[FloatArray, FloatArray], values: Values) -> Gap:
        """Return how far samples that meet the plane ``at`` x and y (B, N) lie outside the curve."""


@dataclass(frozen=True)
class CircleTerm:
    """A circle round the rotor's axis: its radius is an unknown, its height a sum of unknowns.

    ``waves`` are the orders of slow waves, unknowns too, that run round the edge that is seen.
    """

    samples: EdgeSamples
    radius_name: str
    height: Height
    offset_name: str
    gives_scale: bool = False
    waves: Sequence[int] = ()
    wave: str = "wave"

    @property
    def curve(self) -> str:
        """See `Term`."""
        return self.radius_name

    @property
    def lifts(self) -> Height:
        """See `Term`."""
        return self.height

    def gap(self, at: tuple[FloatArray, FloatArray], values: Values) -> Gap:
        """See `Term`."""
        x, y = at
        reach = np.sqrt(x * x + y * y)
        out_x, out_y = x / reach, y / reach
        gap_mm = reach - np.exp(values[self.radius_name])
        return Gap(gap_mm, out_x, out_y, self._wave_px(out_x + 1j * out_y, values) if self.waves else 0.0)

    def _wave_px(self, turn: npt.NDArray[np.complex128], values: Values) -> FloatArray:
        across, along = ([values[f"{self.wave}_{order}{axis}"] for order in self.waves] for axis in "xy")
        waves = [turn**order for order in self.waves]
        return np.asarray(sum(x * wave.real + y * wave.imag for x, y, wave in zip(across, along, waves, strict=True)))


@dataclass(frozen=True)
class FigureTerm:
    """A reference of known size, somewhere on its plane, turned anyhow.

    ``curls`` (4, N) says what share of each corner's curl, an unknown, lifts each sample off that plane.
    """

    samples: EdgeSamples
    figure: Figure
    name: str
    height: Height
    offset_name: str
    curls: FloatArray
    gives_scale: bool = True

    @property
    def curve(self) -> str:
        """See `Term`."""
        return self.name

    @property
    def lifts(self) -> Mapping[str, FloatArray | float]:
        """See `Term`."""
        return {**self.height, **{curl_name(self.name, corner): share for corner, share in enumerate(self.curls)}}

    def gap(self, at: tuple[FloatArray, FloatArray], values: Values) -> Gap:
        """See `Term`."""
        x, y = at[0] - values[f"{self.name}_x"], at[1] - values[f"{self.name}_y"]
        size_x = 1.0 + values[f"{self.name}_size_x"]
        if self.figure.radius_mm is not None:
            reach = np.sqrt(x * x + y * y)
            return Gap(reach - self.figure.radius_mm * size_x, x / reach, y / reach)
        size_y = 1.0 + values.get(f"{self.name}_size_y", values[f"{self.name}_size_x"])
        a, b, c = self.figure.sides[self.samples.side].T
        cos, sin = np.cos(values[f"{self.name}_turn"]), np.sin(values[f"{self.name}_turn"])
        out_x, out_y = a * cos - b * sin, a * sin + b * cos
        return Gap(out_x * x + out_y * y - c * (a * a * size_x + b * b * size_y), out_x, out_y)


ROBUST_CORE = 3.0


def robust_weight(size: FloatArray) -> FloatArray:
    """Weigh residuals of ``size`` standard deviations by Geman and McClure's redescending loss."""
    return 1.0 / (1.0 + (size / ROBUST_CORE) ** 2) ** 2


def robust_loss(size: FloatArray) -> FloatArray:
    """Return Geman and McClure's loss: half the square for small residuals, at most half the core's square."""
    square = size**2
    return 0.5 * square / (1.0 + square / ROBUST_CORE**2)
