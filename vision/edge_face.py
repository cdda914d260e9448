"""Where the ring's faces end, seen along its plane: nets look at the unrolled rim from the middle outward.

Chamfers, lips, vanes' openings and the shadow under the ring have edges of their own beside the two that count. One
look at all of the rim tells which they are about, upward and downward; another from near where they are.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from vision.band import BoolArray
from vision.edge_pose import Along
from vision.edge_unrolled import PARTS, angles_across
from vision.edges import Image
from vision.measurement import FloatArray
from vision.near_look import POINTS, Course, shipped_near_net
from vision.outline_look import ROWS
from vision.ring import Mask

# Steps outward from the middle in which all of the rim is looked at.
OFFSETS_MM = 0.8 * (np.arange(ROWS) - (ROWS - 1) / 2)
# What a ring's edge may measure.
THICK_MM = (6.0, 43.0)
# Rows about one that tell of it, the least share that counts, and columns that tell the same.
BESIDE_ROWS, LEAST_SHARE, SAME_TELLING = 3, 1e-3, 8.0
# Pairs of ends that are about the same; looks, each from the middle of what the last one saw.
ABOUT_MM = 3.0
LOOKS = 2


@dataclass(frozen=True, eq=False)
class Side:
    """The outer cylinder, looked at upward or downward.

    Attributes
    ----------
    along : Along
    sign : float
        1 upward, -1 downward.
    """

    along: Along
    sign: float

    def course(self, height_mm: float) -> Course:
        """Return a course across the rim at a height above the camera's plane."""
        angles, radius_mm = angles_across(self.along, POINTS), self.along.radius_mm
        foot, inside = (self.along.points(angles, height_mm, radius_mm - deep) for deep in (0.0, 1.0))
        return Course.through(self.along.pixels, foot, foot + self.out, inside)

    @property
    def out(self) -> FloatArray:
        """Direction outward, (3,)."""
        return np.array([0.0, 0.0, self.sign])

    def told(self, bgr: Image, seen: Mask, middle_mm: float) -> tuple[FloatArray, FloatArray]:
        """Return by what logarithm it is likelier than even that the face ends in a row, outward from a height.

        Returns
        -------
        (ROWS,) ndarray
            What all columns say together.
        (ROWS,) ndarray
            What one says, in the mean.
        """
        net, course = shipped_near_net("face_side"), self.course(middle_mm)
        share = np.exp(net.log_shares(course.strip(bgr, net.step_mm), course.relief)[:-1].astype(np.float64))
        share = cv2.blur(share, (1, BESIDE_ROWS), borderType=cv2.BORDER_CONSTANT)
        odds = np.log(np.maximum(share * ROWS, LEAST_SHARE))
        shown = course.shown(seen, net.step_mm)
        told = (odds * shown).sum(axis=1)
        return told / SAME_TELLING, told / np.maximum(shown.sum(axis=1), 1)

    def end(self, bgr: Image, seen: Mask, height_mm: float) -> "FaceEnd | None":
        """Look from near where the face ends; None where that hardly shows."""
        net, outward_mm = shipped_near_net("face_end"), self.sign * height_mm
        near = net.settled(bgr, seen, lambda place_mm: self.course(self.sign * place_mm), outward_mm)
        if near is None:
            return None
        return FaceEnd(self.sign * near.place_mm, _thinned(near.points_px, near.shows), near.spread_mm)


@dataclass(frozen=True, eq=False)
class FaceEnd:
    """Where a face ends.

    Attributes
    ----------
    height_mm : float
        Above the camera's plane.
    points_px : (N, 2) ndarray
        Where it shows, in the photo in which the ring lies level.
    spread_mm : float
        How far the rows spread that tell so.
    """

    height_mm: float
    points_px: FloatArray
    spread_mm: float


@dataclass(frozen=True, eq=False)
class Faces:
    """A ring's two faces, seen along its plane.

    Attributes
    ----------
    top, bottom : FaceEnd
    clear : float
        By what logarithm it is likelier than even, to a column in the mean, that the less clear one ends there.
    probability : float
        That they end about there, of all pairs.
    """

    top: FaceEnd
    bottom: FaceEnd
    clear: float
    probability: float

    @property
    def thickness_mm(self) -> float:
        """Their distance along the axis."""
        return self.top.height_mm - self.bottom.height_mm


def find_faces(bgr: Image, seen: Mask, along: Along, middle_mm: float) -> Faces | None:
    """Find where a ring's faces end.

    Parameters
    ----------
    bgr : (H, W, 3) ndarray of uint8
        The photo, in which the ring lies level.
    seen : (H, W) ndarray of bool
        Where nothing is known to stand before it.
    along : Along
        Where the camera stands.
    middle_mm : float
        Height of about the rim's middle above the camera's plane.

    Returns
    -------
    Faces or None
        None where either hardly shows.
    """
    sides = [Side(along, sign) for sign in (1.0, -1.0)]
    for _ in range(LOOKS):
        heights, clear, probability = _about(bgr, seen, sides, middle_mm)
        middle_mm = float(np.mean(heights))
    top, bottom = (side.end(bgr, seen, height) for side, height in zip(sides, heights, strict=True))
    if top is None or bottom is None:
        return None
    return Faces(top, bottom, clear, probability)


def _about(bgr: Image, seen: Mask, sides: Sequence[Side], middle_mm: float) -> tuple[list[float], float, float]:
    """Return about how high the upper and the lower face end, how clear the less clear one is, how probable both."""
    told, clear = zip(*(side.told(bgr, seen, middle_mm) for side in sides), strict=True)
    over, under = np.meshgrid(OFFSETS_MM, OFFSETS_MM, indexing="ij")
    possible = (over + under > THICK_MM[0]) & (over + under < THICK_MM[1])
    odds = np.where(possible, np.add.outer(*told), -np.inf)
    best = np.unravel_index(int(odds.argmax()), odds.shape)
    likely = np.exp(odds - odds[best])
    about = np.hypot(over - over[best], under - under[best]) < ABOUT_MM
    heights = [middle_mm + side.sign * float(OFFSETS_MM[row]) for side, row in zip(sides, best, strict=True)]
    least = min(float(rows[row]) for rows, row in zip(clear, best, strict=True))
    return heights, least, float(likely[about].sum() / likely.sum())


def _thinned(xy_px: FloatArray, shows: BoolArray) -> FloatArray:
    """Return the means of neighbouring columns that show: they stray together."""
    parts = zip(np.split(xy_px, PARTS), np.split(shows, PARTS), strict=True)
    return np.stack([points[shown].mean(axis=0) for points, shown in parts if shown.any()])
