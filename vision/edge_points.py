"""The points of a photo's drawn edges, and an ellipse let settle on those beside it.

An ellipse that leads to a rotor is often a mixture: the rim on one side, the wall's far edge or a caliper's on the
other. Fitted anew to the edge points near it that run its way, in a narrowing band, it goes to whichever circle holds
most of it.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vision.ellipse import Ellipse
from vision.measurement import FloatArray

# Points over which an edge's direction is taken, on both sides; every how manieth point is kept.
REACH, KEPT = 4, 2
# Widths of the band an ellipse starts to settle in, shares of its radius; by how much the band narrows each time.
WIDTHS, NARROWER = (0.06, 0.03), 0.45
# Half the band that counts in the end, steps of the drawing; cosine of the turn at which an edge runs the curve's way.
LAST_STEPS, ALONG = 1.2, 0.98
# In a wide band an edge on another curve of the same family may turn by so much, radians.
TURN, TURN_BY_WIDTH = 0.06, 2.0
SECTORS, LEAST_POINTS = 120, 20
# A sector is drawn whole with this share of the points that a chain all along it has: steps go over corners.
DRAWN = 0.7
# An ellipse that leaves its start so far, as a share of the radius, has found something else.
MOST_GROWN = 0.2
# An ellipse drawn so far needs no settling; halves of one that are tried, and points.
ENOUGH, HALVES, MOST_POINTS = 0.8, 6, 2500


@dataclass(frozen=True)
class EdgePoints:
    """Points on edges.

    Attributes
    ----------
    xy_px, normal_px : (N, 2) ndarray
        Places, and unit normals of either sign.
    step_px : float
        Distance of two neighbouring pixels of the drawing.
    """

    xy_px: FloatArray
    normal_px: FloatArray
    step_px: float

    @classmethod
    def of(cls, chains: Sequence[FloatArray], scale: float) -> "EdgePoints":
        """Read chains of edge pixels, each (K, 2), of a photo made ``scale`` times as large."""
        if not chains:
            return cls(np.empty((0, 2)), np.empty((0, 2)), 1 / scale)
        xy = np.concatenate(chains).astype(np.float64)
        sizes = [len(chain) for chain in chains]
        last = np.repeat(np.cumsum(sizes) - 1, sizes)
        first = np.repeat(np.cumsum(sizes) - sizes, sizes)
        at = np.arange(len(xy))
        ahead, behind = np.minimum(at + REACH, last), np.maximum(at - REACH, first)
        way = xy[ahead] - xy[behind]
        way /= np.maximum(np.linalg.norm(way, axis=1), 1e-9)[:, None]
        middle = (xy[ahead] + xy[behind] + xy) / 3
        normal = np.stack([way[:, 1], -way[:, 0]], axis=1)
        # Pixel centres stand at whole numbers in both sizes.
        return cls((middle[::KEPT] + 0.5) / scale - 0.5, normal[::KEPT], 1 / scale)

    def beside(self, ellipse: Ellipse, width_px: float) -> "EdgePoints":
        """Return the points within a width of an ellipse."""
        away, *_ = _seen_from(ellipse, self)
        near = np.abs(away) < width_px
        return EdgePoints(self.xy_px[near], self.normal_px[near], self.step_px)

    def thinned(self, count: int) -> "EdgePoints":
        """Return every so manieth, about ``count`` of them."""
        every = max(1, len(self.xy_px) // count)
        return EdgePoints(self.xy_px[::every], self.normal_px[::every], self.step_px)

    def coverage(self, ellipse: Ellipse) -> float:
        """Return the share of an ellipse that is drawn: edges that only cross it hardly count."""
        away, along, angle = _seen_from(ellipse, self)
        on = angle[(np.abs(away) < LAST_STEPS * self.step_px) & (along > ALONG)]
        count = np.bincount((on / (2 * np.pi) * SECTORS).astype(int), minlength=SECTORS)
        full = 2 * np.pi * float(np.sqrt((ellipse.half_axes_px**2).mean())) / (self.step_px * KEPT * SECTORS)
        return float(np.minimum(1.0, count / (DRAWN * full)).mean())


def settled(ellipse: Ellipse, points: EdgePoints) -> Ellipse:
    """Return the ellipse that most edge points near one agree on; the same one where none has more."""
    near = points.beside(ellipse, (WIDTHS[0] + MOST_GROWN) * ellipse.radius_px)
    covered = near.coverage(ellipse)
    if covered > ENOUGH:
        return ellipse
    few = near.thinned(MOST_POINTS)
    starts = [ellipse, *_halves(ellipse, few)]
    found = [last for start in starts for share in WIDTHS if (last := _narrowed(start, few, share)) is not None]
    more, best = max(((near.coverage(last), number) for number, last in enumerate(found)), default=(0.0, 0))
    return found[best] if more > covered else ellipse


def _halves(ellipse: Ellipse, points: EdgePoints) -> list[Ellipse]:
    """Return the ellipses through what lies beside each half of one: two curves mostly change places once round."""
    away, along, angle = _seen_from(ellipse, points)
    use = (np.abs(away) < WIDTHS[0] * ellipse.radius_px) & (along > np.cos(TURN + TURN_BY_WIDTH * WIDTHS[0]))
    found: list[Ellipse] = []
    for turn in np.arange(HALVES) * (2 * np.pi / HALVES):
        half = use & ((angle - turn) % (2 * np.pi) < np.pi)
        if half.sum() > LEAST_POINTS:
            found.append(Ellipse.through(points.xy_px[half]))
    return [half for half in found if _is_alike(half, ellipse)]


def _narrowed(start: Ellipse, points: EdgePoints, share: float) -> Ellipse | None:
    """Fit to what lies in a narrowing band; None where too little is left, or the ellipse goes far away."""
    ellipse, width_px = start, share * start.radius_px
    last_px = LAST_STEPS * points.step_px
    while width_px > NARROWER * last_px:
        width_px = max(width_px, last_px)
        away, along, _ = _seen_from(ellipse, points)
        turn = TURN + TURN_BY_WIDTH * width_px / start.radius_px
        use = (np.abs(away) < width_px) & (along > np.cos(turn))
        if use.sum() < LEAST_POINTS:
            return None
        ellipse = Ellipse.through(points.xy_px[use])
        if not _is_alike(ellipse, start):
            return None
        width_px *= NARROWER
    return ellipse


def _is_alike(ellipse: Ellipse, start: Ellipse) -> bool:
    sizes = ellipse.half_axes_px
    real = bool(np.isfinite(sizes).all()) and float(sizes.min()) > 0
    return real and abs(float(np.log(sizes.max() / start.radius_px))) < MOST_GROWN


def _seen_from(ellipse: Ellipse, points: EdgePoints) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return each point's distance outward, how far its edge runs the ellipse's way, and its eccentric angle: (N,)."""
    cos, sin = np.cos(ellipse.angle_rad), np.sin(ellipse.angle_rad)
    turn = np.array([[cos, sin], [-sin, cos]])
    unit = (points.xy_px - ellipse.centre_px) @ turn.T / ellipse.half_axes_px
    share = np.maximum(np.linalg.norm(unit, axis=1), 1e-9)
    slope = unit / share[:, None] / ellipse.half_axes_px
    steep = np.linalg.norm(slope, axis=1)
    along = np.abs(((slope / steep[:, None]) @ turn * points.normal_px).sum(axis=1))
    return (share - 1) / steep, along, np.arctan2(unit[:, 1], unit[:, 0]) % (2 * np.pi)
