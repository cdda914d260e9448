"""One circle round the axis: how clear its edge is, and samples of it to a fraction of a pixel."""

from dataclasses import dataclass, field, replace

import numpy as np

from vision.edges import offsets_px, profiles, slopes, steepest
from vision.figure import EdgeSamples
from vision.measurement import FloatArray
from vision.ring import Face, Mask, Pixels
from vision.steps import RAYS, TURN_RAD

LEAST_SUPPORT = 0.2
LEAST_SLOPE = 1.0


def no_samples() -> EdgeSamples:
    """Return edge samples of nothing."""
    return EdgeSamples(np.zeros((0, 2)), np.zeros(0), np.zeros(0), np.zeros(0))


@dataclass(frozen=True, eq=False)
class Circle:
    """Edge samples of one circle round the axis, and where it starts from.

    Attributes
    ----------
    name : {"ring_inner", "hat", "centre_bore", "bolt_circle"}
    radius_mm, height_mm : float
    samples : EdgeSamples
        None so far where it is only known about where to look. For the bolt circle the holes' centres, one a hole.
    support : float
        Share of the circle's length whose edge was found; of the bolt circle, of its holes.
    edge_std_mm : float
        Doubt, common to the whole circle, which of several edges (chamfer, lip, fillet) was followed.
    other_std_mm : float
        Doubt whether another edge, farther off than is seen from near, is the circle's.
    seen_near : bool
        It was looked at from near: how surely the edge is told that was followed is all that ``edge_std_mm`` says.
    """

    name: str
    radius_mm: float
    height_mm: float
    samples: EdgeSamples = field(default_factory=no_samples)
    support: float = 0.0
    edge_std_mm: float = 0.5
    other_std_mm: float = 0.0
    seen_near: bool = False


def sampled(grey: Pixels, face: Face, near: Circle, *, reach_mm: float, shown: Mask | None = None) -> Circle | None:
    """Sample a circle's edge to a fraction of a pixel.

    Parameters
    ----------
    grey : (H, W) ndarray of uint8
    face : Face
    near : Circle
        Name, radius and height to look at; its samples don't count.
    reach_mm : float
        How far to either side.
    shown : (RAYS,) ndarray of bool, optional
        Rays on which nothing hides the circle.

    Returns
    -------
    Circle or None
        None where less than a fifth of the circle shows an edge that hangs together.
    """
    ray = np.stack([np.cos(TURN_RAD), np.sin(TURN_RAD), np.zeros(RAYS)], axis=-1)
    foot = ray * near.radius_mm + np.array([0, 0, near.height_mm])
    here = face.to_pixels(foot)
    normal = face.to_pixels(foot + ray) - here
    px_per_mm = np.linalg.norm(normal, axis=1)
    normal /= px_per_mm[:, None]
    along = offsets_px(reach_mm * float(np.median(px_per_mm)))
    slope = slopes(profiles(grey, here, normal, along), along, blur_px=1.2)
    if shown is not None:
        slope[~shown] = 0.0
    sides = [_on_one_curve(slope, along, sign, px_per_mm) for sign in (-1.0, 1.0)]
    offset, strength, keep = max(sides, key=lambda side: float(np.abs(side[1][side[2]]).sum()))
    points = here + offset[:, None] * normal
    keep &= (points >= 1).all(axis=1) & (points < np.array(grey.shape[::-1]) - 2).all(axis=1)
    if keep.mean() < LEAST_SUPPORT:
        return None
    found = near.radius_mm + float(np.median((offset / px_per_mm)[keep]))
    count = int(keep.sum())
    samples = EdgeSamples(points[keep], -np.sign(strength[keep]), np.full(count, 0.4), np.zeros(count))
    return replace(near, radius_mm=found, samples=samples, support=float(keep.mean()))


def _on_one_curve(
    slope: FloatArray, along: FloatArray, sign: float, px_per_mm: FloatArray
) -> tuple[FloatArray, FloatArray, Mask]:
    """Take the steepest edge of one sense on each ray and keep those that lie on one circle, off-centre a little."""
    offset, strength = steepest(slope, along, sign)
    strong = np.isfinite(offset) & (np.abs(strength) > LEAST_SLOPE)
    mm = np.where(np.isfinite(offset), offset, 0) / px_per_mm
    angle = np.arange(len(mm)) * (2 * np.pi / len(mm))
    basis = np.stack([np.ones_like(angle), np.cos(angle), np.sin(angle)], axis=-1)
    keep = strong
    for tolerance_mm in (2.0, 1.0, 0.6):
        if keep.sum() < 12:
            break
        weight = np.where(keep, np.sqrt(np.abs(strength)), 0)
        curve = basis @ np.linalg.lstsq(basis * weight[:, None], mm * weight, rcond=None)[0]
        keep = strong & (np.abs(mm - curve) < tolerance_mm)
    return offset, strength, keep
