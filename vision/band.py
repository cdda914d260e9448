"""A photo unrolled along a closed curve: everything that runs round the rotor's axis is nearly straight in it.

Along the band everything round is straight: the rim, the chamfer beside it, the edge of the unworn lip. Ground,
shadow and clutter are not. The band is smoothed along the rim, so that texture averages out and edges stay.
"""

from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np
import numpy.typing as npt

from vision.edges import Image, profiles
from vision.ellipse import Ellipse
from vision.measurement import FloatArray

EDGE_BLUR_PX = 1.0
# Steps across a wide band; a narrow one is read every half pixel.
STEPS = 60
COLOURS = 3
# Holes and slots are no grain, however unlike the iron beside them: levels.
MOST_GRAIN = 40.0
# An edge counts from this many times the usual strength of the ground.
LEAST_STRENGTH = 3.0
IntArray = npt.NDArray[np.intp]
BoolArray = npt.NDArray[np.bool_]
Slopes = npt.NDArray[np.float32]
Curve = tuple[FloatArray, FloatArray]


@dataclass(frozen=True)
class Band:
    """A photo unrolled along a curve.

    Attributes
    ----------
    foot_px, normal_px : (A, 2) ndarray
        Points of the curve and outward normals.
    along_px : (M,) ndarray
        Offsets outward.
    slope : (A, M, 4) ndarray
        Derivative of each colour channel, and of the grain, outward, smoothed along the curve, levels per pixel.
    """

    foot_px: FloatArray
    normal_px: FloatArray
    along_px: FloatArray
    slope: Slopes
    inside: FloatArray

    @classmethod
    def along(cls, photo: Image, curve: Curve, reach_px: float, *, smooth: float) -> "Band":
        """Unroll ``photo`` (H, W, 3) to ``reach_px`` on both sides, smoothed by ``smooth`` points along the curve."""
        foot, normal = curve
        step = max(0.5, reach_px / STEPS)
        along = np.arange(-np.ceil(reach_px / step), np.ceil(reach_px / step) + 1) * step
        band = profiles(photo, foot, normal, along).astype(np.float32)
        return cls(foot, normal, along, _slope(_with_grain(band), step, smooth), _inside(photo, foot, normal, along))

    @property
    def step_px(self) -> float:
        """Distance between two offsets."""
        return float(self.along_px[1] - self.along_px[0])

    @cached_property
    def strength(self) -> FloatArray:
        """Edge strength (A, M), all channels together."""
        total: FloatArray = np.sqrt((self.slope**2).sum(axis=2))
        return total

    @cached_property
    def noise(self) -> float:
        """Usual strength in the outer third, where there is only ground, levels per pixel."""
        outer = self.strength[:, -len(self.along_px) // 3 :]
        return max(0.2, float(np.median(outer)))

    @property
    def seen(self) -> FloatArray:
        """1 for each angle at which the curve itself lies in the photo (A,), 0 for the others."""
        middle: FloatArray = self.inside[:, len(self.along_px) // 2]
        return middle

    def peaks(self, noise: float) -> FloatArray:
        """Return the offsets (A, M) of the maxima across the band, to a fraction of a step; infinite elsewhere."""
        left, middle, right = self.strength[:, :-2], self.strength[:, 1:-1], self.strength[:, 2:]
        peak = (middle >= left) & (middle > right) & (middle > LEAST_STRENGTH * noise)
        bend = np.minimum(left - 2 * middle + right, -1e-9)
        shift = np.clip(0.5 * (left - right) / bend, -1, 1) * self.step_px
        offsets = np.where(peak, self.along_px[None, 1:-1] + shift, np.inf)
        return np.pad(offsets, ((0, 0), (1, 1)), constant_values=np.inf)

    def ellipse(self, line_px: FloatArray) -> Ellipse:
        """Return the ellipse through a line (A,) of the band."""
        return Ellipse.through(self.foot_px + line_px[:, None] * self.normal_px)

    def column(self, offset_px: FloatArray) -> IntArray:
        """Return the index of offsets along the band."""
        at: IntArray = np.searchsorted(self.along_px, offset_px).clip(0, len(self.along_px) - 1)
        return at

    def bright_inside(self, offset_px: FloatArray) -> FloatArray:
        """Return +1 for each angle (A,) at whose offset the inside is the brighter, -1 for the others."""
        falls = self.slope[np.arange(len(offset_px)), self.column(offset_px), :COLOURS].sum(axis=1) < 0
        return np.where(falls, 1.0, -1.0)


def nearest(peak: FloatArray, offset_px: FloatArray) -> FloatArray:
    """Return the offset of each angle's peak nearest to a line (A,), infinite where there is none."""
    best = np.abs(peak - offset_px[:, None]).argmin(axis=1)
    found: FloatArray = peak[np.arange(len(peak)), best]
    return found


def _with_grain(band: Slopes) -> Slopes:
    """Add a fourth channel, how unlike neighbouring angles are: rust on gravel of its shade shows in nothing else."""
    grey = band.mean(axis=2)
    unlike = np.minimum(np.abs(np.roll(grey, 1, axis=0) - np.roll(grey, -1, axis=0)), MOST_GRAIN)
    return np.concatenate([band, unlike[..., None]], axis=2)


def _slope(band: Slopes, step_px: float, smooth: float) -> Slopes:
    """Smooth along the rim (which wraps round) and differentiate across it."""
    count = int(np.ceil(2.5 * smooth))
    padded = np.concatenate([band[-count:], band, band[:count]])
    blurred = cv2.GaussianBlur(
        padded, (0, 0), sigmaX=EDGE_BLUR_PX / step_px, sigmaY=smooth, borderType=cv2.BORDER_REPLICATE
    )[count:-count]
    slope: Slopes = np.empty(blurred.shape, np.float32)
    slope[:, 1:-1] = (blurred[:, 2:] - blurred[:, :-2]) / np.float32(2 * step_px)
    slope[:, 0], slope[:, -1] = slope[:, 1], slope[:, -2]
    return slope


def _inside(photo: Image, foot: FloatArray, normal: FloatArray, along: FloatArray) -> FloatArray:
    xy = foot[:, None, :] + along[None, :, None] * normal[:, None, :]
    height, width = photo.shape[:2]
    held = (xy > 1).all(axis=2) & (xy[..., 0] < width - 2) & (xy[..., 1] < height - 2)
    return np.asarray(held, np.float64)
