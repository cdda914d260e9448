"""The hat of a rotor seen along its plane: on which side of the ring it stands, and where its end shows.

Nets look at the photo on both sides of the ring (`near_look`): first in steps of a millimetre for an outline that runs
across somewhere, then from near for where exactly.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import cv2
import numpy as np

from vision.edge_pose import TOWARD, Along
from vision.edges import Image
from vision.measurement import FloatArray
from vision.near_look import POINTS, Course, shipped_near_net
from vision.outline_look import COLUMNS, ROWS
from vision.ring import Mask

# How far to both sides of the axis a hat is looked for, over the rotor's radius, and round what height over the face.
ACROSS, MIDDLE_MM = 0.8, 36.0
# Its rounded corners are left out, seen from near.
STRAIGHT = 0.9
# A hat is one where its end is told so clearly.
LEAST_EVIDENCE = 1.2
# Sizes that are tried: heights over the face, mm, radii over the rotor's.
HEIGHTS_MM, RADII = np.arange(3.0, 74.0, 0.5), np.arange(0.25, 0.76, 0.01)
# Rows beside an outline that still tell of it, and what a column may say for or against a hat.
BESIDE_ROWS, MOST_ODDS = 3, 4.0
OUTLINE_POINTS = 40


@dataclass(frozen=True, eq=False)
class Flank:
    """What lies on one side of the ring, as it shows on the plane through the axis that faces the camera.

    Attributes
    ----------
    along : Along
    face_mm : float
        Height of the ring's edge on this side above the camera's plane.
    side : float
        1 above the ring, -1 below.
    """

    along: Along
    face_mm: float
    side: float

    @property
    def out(self) -> FloatArray:
        """Direction away from the ring, (3,)."""
        return np.array([0.0, 0.0, self.side])

    @cached_property
    def columns_mm(self) -> FloatArray:
        """How far beside the axis each column of a strip of all of it is, (COLUMNS,)."""
        return self._spread(ACROSS * float(self.along.radius_mm), COLUMNS)

    def whole(self) -> Course:
        """Return a course straight across, at a height to both sides of which all hats end."""
        across = self._spread(ACROSS * float(self.along.radius_mm), POINTS)
        return self.course(across, np.full(POINTS, MIDDLE_MM))

    def top(self, radius_mm: float, height_mm: float) -> Course:
        """Return a course along the outline of a hat that ends so high over the face."""
        across = self._spread(STRAIGHT * self.along.half_mm(radius_mm), POINTS)
        return self.course(across, self.outline_mm(radius_mm, height_mm, across))

    def course(self, across_mm: FloatArray, over_mm: FloatArray) -> Course:
        """Return a course through points (POINTS,) beside the axis and over the face."""
        foot = self.points(across_mm, over_mm)
        return Course.through(self.along.pixels, foot, foot + self.out, foot + TOWARD)

    def points(self, across_mm: FloatArray, over_mm: FloatArray) -> FloatArray:
        """Return points of the rotor's frame (N, 3), so far beside the axis and over the face."""
        return np.column_stack([np.zeros(len(across_mm)), across_mm, self.face_mm + self.side * over_mm])

    def outline_mm(self, radius_mm: float, height_mm: float, across_mm: FloatArray) -> FloatArray:
        """Return how high over the face a hat's outline shows: its nearer end where it stands over the camera."""
        above = height_mm + self.side * self.face_mm
        return above / self.share(radius_mm, above, across_mm) - self.side * self.face_mm

    def height_mm(self, radius_mm: float, over_mm: FloatArray, across_mm: FloatArray) -> FloatArray:
        """Return how high a hat is whose outline shows so high, `outline_mm` the other way round."""
        shown = over_mm + self.side * self.face_mm
        return np.asarray(shown * self.share(radius_mm, float(shown.mean()), across_mm) - self.side * self.face_mm)

    def share(self, radius_mm: float, above_mm: float, across_mm: FloatArray) -> FloatArray:
        """Return how far from the camera toward the plane through the axis a ray meets what it shows of a hat's end."""
        away = float(self.along.away_mm)
        square = away**2 + across_mm**2
        root = np.sqrt(np.maximum(away**4 - square * (away**2 - radius_mm**2), 0.0))
        return np.asarray((away**2 - np.sign(above_mm) * root) / square)

    def on_plane(self, xy_px: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return how far beside the axis and over the face pixels (N, 2) lie."""
        beside, above = self.along.beside_axis(xy_px)
        return beside, self.side * (above - self.face_mm)

    @staticmethod
    def _spread(half_mm: float, count: int) -> FloatArray:
        return np.asarray(half_mm * ((2 * np.arange(count) + 1) / count - 1))


@dataclass(frozen=True, eq=False)
class Hat:
    """A hat as it was seen.

    Attributes
    ----------
    flank : Flank
        The side on which it stands.
    radius_mm, height_mm : float
        Its size, the height over the face: to a millimetre or two.
    evidence : float
        Sum over its columns of the logarithm of how much likelier than not it ends there, a share of all columns.
    end_px : (COLUMNS, 2) ndarray
        Where its end shows, in the photo in which the ring lies level; from near once it was looked at.
    end_std_mm : float
        How far the rows spread that tell so.
    """

    flank: Flank
    radius_mm: float
    height_mm: float
    evidence: float
    end_px: FloatArray
    end_std_mm: float = np.inf

    def seen_near(self, bgr: Image, seen: Mask) -> "Hat | None":
        """Look at its end from near; None where that hardly shows."""
        net, course = shipped_near_net("hat_top"), self.flank.top(self.radius_mm, self.height_mm)
        shown = np.asarray(course.shown(seen, net.step_mm).all(axis=0))
        told = net.look(bgr, course).straight_mm(np.arange(COLUMNS), shown)
        return None if told is None else replace(self, end_px=course.moved_px(told[0]), end_std_mm=told[1])

    def above_mm(self, along: Along, wider_mm: float = 0.0) -> float:
        """Return how high its end lies above the camera's plane, seen from some place, were it so much wider."""
        flank = replace(self.flank, along=along, face_mm=0.0)
        across, over = flank.on_plane(self.end_px)
        return flank.side * float(flank.height_mm(self.radius_mm + wider_mm, over, across).mean())

    def outline_px(self) -> FloatArray:
        """Return its sides and its end, (N, 2)."""
        across = self.flank.along.half_mm(self.radius_mm) * np.linspace(-1, 1, OUTLINE_POINTS)
        over = self.flank.outline_mm(self.radius_mm, self.height_mm, across)
        return self.flank.course(np.pad(across, 1, mode="edge"), np.pad(over, 1)).foot_px


def find_hat(bgr: Image, seen: Mask, flanks: Sequence[Flank]) -> Hat | None:
    """Find a hat on either side of a ring.

    Parameters
    ----------
    bgr : (H, W, 3) ndarray of uint8
        The photo, in which the ring lies level.
    seen : (H, W) ndarray of bool
        Where nothing is known to stand before the rotor.
    flanks : sequence of Flank

    Returns
    -------
    Hat or None
        As it is seen from near; None where there is none that shows clearly.
    """
    best = max((_likeliest(bgr, seen, flank) for flank in flanks), key=lambda hat: hat.evidence)
    return best.seen_near(bgr, seen) if best.evidence > LEAST_EVIDENCE else None


def _likeliest(bgr: Image, seen: Mask, flank: Flank) -> Hat:
    net, course = shipped_near_net("hat_side"), flank.whole()
    share = np.exp(net.log_shares(course.strip(bgr, net.step_mm), course.relief).astype(np.float64))
    near = cv2.blur(share[:-1], (1, BESIDE_ROWS), borderType=cv2.BORDER_CONSTANT) * BESIDE_ROWS
    odds = np.clip(np.log(np.maximum(near, 1e-9) / np.maximum(share[-1], 1e-9)), -MOST_ODDS, MOST_ODDS)
    odds = odds * course.shown(seen, net.step_mm)
    hats = [_of_radius(odds, flank, radius * float(flank.along.radius_mm), net.step_mm) for radius in RADII]
    return max(hats, key=lambda hat: hat.evidence)


def _of_radius(odds: FloatArray, flank: Flank, radius_mm: float, step_mm: float) -> Hat:
    """Return the likeliest hat of a radius."""
    across = flank.columns_mm
    inside = np.abs(across) < flank.along.half_mm(radius_mm)
    over = np.stack([flank.outline_mm(radius_mm, height_mm, across[inside]) for height_mm in HEIGHTS_MM])
    row = np.clip(np.rint((over - MIDDLE_MM) / step_mm + (ROWS - 1) / 2), 0, ROWS - 1).astype(np.intp)
    told = odds[row, np.flatnonzero(inside)].sum(axis=1)
    best = int(told.argmax())
    evidence = float(told[best]) / COLUMNS
    return Hat(flank, radius_mm, float(HEIGHTS_MM[best]), evidence, flank.course(across[inside], over[best]).foot_px)
