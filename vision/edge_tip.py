"""The two ends of the rim's outline, seen along its plane from near: a net tells where the cylinder turns away."""

from dataclasses import dataclass

import numpy as np

from vision.edge_pose import TOWARD, Along
from vision.edges import Image
from vision.measurement import FloatArray
from vision.near import Doubt
from vision.near_look import POINTS, Course, shipped_near_net
from vision.ring import Mask

# How far rows may spread, and what doubt they leave: of 80 ends that the net doesn't know half are within 0.06 mm, 19
# in 20 within 0.6.
MOST_SPREAD_MM, DOUBT = 0.6, Doubt(0.08, 3.0)


@dataclass(frozen=True, eq=False)
class Tip:
    """An end of the outline, on the plane through the axis that faces the camera.

    Attributes
    ----------
    along : Along
    span_mm : (float, float)
        Heights of the ring's faces above the camera's plane, the lower first.
    sign : float
        1 to the right of the picture, -1 to the left.
    """

    along: Along
    span_mm: tuple[float, float]
    sign: float

    @property
    def half_mm(self) -> float:
        """How far beside the axis it shows."""
        return self.along.half_mm(float(self.along.radius_mm))

    def course(self, beside_mm: float) -> Course:
        """Return a course from face to face, so far beside the axis."""
        up = np.linspace(*self.span_mm, 2 * POINTS + 1)[1::2]
        foot = self._points(np.full(POINTS, beside_mm), up)
        return Course.through(self.along.pixels, foot, foot + self.out, foot + TOWARD)

    @property
    def out(self) -> FloatArray:
        """Direction outward, (3,)."""
        return np.array([0.0, self.sign, 0.0])

    def pixels(self, beside_mm: FloatArray, up_mm: FloatArray) -> FloatArray:
        """Project points (N,) beside the axis, and above the camera's plane, to pixels (N, 2)."""
        return self.along.pixels(self._points(beside_mm, up_mm))

    def on_plane(self, xy_px: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return how far beside the axis, outward, and above the camera's plane pixels (N, 2) lie."""
        beside, above = self.along.beside_axis(xy_px)
        return self.sign * beside, above

    def _points(self, beside_mm: FloatArray, up_mm: FloatArray) -> FloatArray:
        return np.column_stack([np.zeros(len(up_mm)), self.sign * beside_mm, up_mm])


@dataclass(frozen=True, eq=False)
class TipEnd:
    """Where an end shows: the middle of its outline, pixels of the photo in which the ring lies level."""

    xy_px: FloatArray
    std_px: float


def find_tip(bgr: Image, seen: Mask, tip: Tip) -> TipEnd | None:
    """Look from near where an end of the rim's outline shows.

    Parameters
    ----------
    bgr : (H, W, 3) ndarray of uint8
        The photo, in which the ring lies level.
    seen : (H, W) ndarray of bool
        Where nothing is known to stand before it.
    tip : Tip

    Returns
    -------
    TipEnd or None
        None where it hardly shows.
    """
    near = shipped_near_net("rim_end").settled(bgr, seen, tip.course, tip.half_mm)
    if near is None or near.spread_mm > MOST_SPREAD_MM:
        return None
    per_mm = float(np.median(near.course.px_per_mm))
    return TipEnd(near.points_px[near.shows].mean(axis=0), per_mm * DOUBT.std_mm(np.array([near.spread_mm])))
