"""Circles round the axis in one plane: where brightness steps alike all the way round."""

from collections.abc import Sequence
from dataclasses import dataclass

import cv2
import numpy as np

from vision.edges import offsets_px, profiles, slopes, steepest
from vision.figure import EdgeSamples
from vision.measurement import FloatArray
from vision.ring import Face, Map, Mask, Pixels, unwrap

COLUMNS = 960
STEP_LIMIT = 0.5
USUAL_STEP = 0.03
SAMPLES = 240
LEAST_SUPPORT = 0.2
LEAST_SLOPE = 1.0


@dataclass(frozen=True)
class Edge:
    """A circle seen in a plane.

    Attributes
    ----------
    radius_mm : float
    clearness : float
        Mean step round the circle over the usual step at any radius; above 1 it stands out.
    """

    radius_mm: float
    clearness: float


@dataclass(frozen=True, eq=False)
class Circle:
    """Edge samples of one circle round the axis, and where it starts from.

    Attributes
    ----------
    name : {"ring_inner", "hat", "centre_bore", "bolt_circle"}
    radius_mm, height_mm : float
    samples : EdgeSamples
        For the bolt circle the holes' centres, one a hole.
    support : float
        Share of the circle's length whose edge was found; of the bolt circle, of its holes.
    edge_std_mm : float
        Doubt, common to the whole circle, which of several edges (chamfer, lip, fillet) was followed.
    """

    name: str
    radius_mm: float
    height_mm: float
    samples: EdgeSamples
    support: float
    edge_std_mm: float = 0.5


def clearness(level: Map, seen: Mask) -> FloatArray:
    """Return how much alike brightness steps between rows ``i`` and ``i + 2`` all round, over the usual step.

    Parameters
    ----------
    level : (R, C) ndarray
        Logarithm of brightness, unwrapped.
    seen : (R, C) ndarray of bool

    Returns
    -------
    (R - 2,) ndarray
    """
    soft = cv2.GaussianBlur(level, (0, 0), 1.0)
    both = seen[2:] & seen[:-2]
    step = np.where(both, np.clip(soft[2:] - soft[:-2], -STEP_LIMIT, STEP_LIMIT), 0)
    usual = float(np.abs(step).sum() / max(int(both.sum()), 1))
    alike = np.abs(step.sum(axis=1)) / np.maximum(both.sum(axis=1), level.shape[1] // 5)
    return np.asarray(alike / (USUAL_STEP + usual), np.float64)


def edges_in(
    grey: Pixels, face: Face, span_mm: tuple[float, float], *, z_mm: float, hidden_mm: Sequence[FloatArray] = ()
) -> list[Edge]:
    """Find the circles of a plane, the clearest first.

    Parameters
    ----------
    grey : (H, W) ndarray of uint8
    face, span_mm, z_mm, hidden_mm
        As for `vision.ring.unwrap`.
    """
    flat, seen, _ = unwrap(grey, face, span_mm, z_mm=z_mm, columns=COLUMNS, hidden_mm=hidden_mm)
    level = np.log(flat.astype(np.float32) + 8.0)
    clear = clearness(level, seen)
    radii = span_mm[1] * np.exp(-2 * np.pi / COLUMNS * (np.arange(len(clear)) + 1))
    top = clear >= cv2.dilate(clear[:, None], np.ones((9, 1), np.uint8))[:, 0]
    top[[0, 1, -2, -1]] = False
    found = [Edge(float(radii[i]), float(clear[i])) for i in np.nonzero(top)[0]]
    return sorted(found, key=lambda edge: -edge.clearness)


def sampled(grey: Pixels, face: Face, name: str, near: tuple[float, float], *, reach_mm: float) -> Circle | None:
    """Sample a circle's edge to a fraction of a pixel.

    Parameters
    ----------
    grey : (H, W) ndarray of uint8
    face : Face
    name : str
        See `Circle`.
    near : (float, float)
        Radius and height to look at, mm.
    reach_mm : float
        How far to either side.

    Returns
    -------
    Circle or None
        None where less than a fifth of the circle shows an edge that hangs together.
    """
    radius_mm, height_mm = near
    angle = (np.arange(SAMPLES) + 0.5) * (2 * np.pi / SAMPLES)
    ray = np.stack([np.cos(angle), np.sin(angle), np.zeros(SAMPLES)], axis=-1)
    foot = ray * radius_mm + np.array([0, 0, height_mm])
    here = face.to_pixels(foot)
    normal = face.to_pixels(foot + ray) - here
    px_per_mm = np.linalg.norm(normal, axis=1)
    normal /= px_per_mm[:, None]
    along = offsets_px(reach_mm * float(np.median(px_per_mm)))
    slope = slopes(profiles(grey, here, normal, along), along, blur_px=1.2)
    sides = [_on_one_curve(slope, along, sign, px_per_mm) for sign in (-1.0, 1.0)]
    offset, strength, keep = max(sides, key=lambda side: float(np.abs(side[1][side[2]]).sum()))
    points = here + offset[:, None] * normal
    keep &= (points >= 1).all(axis=1) & (points < np.array(grey.shape[::-1]) - 2).all(axis=1)
    if keep.mean() < LEAST_SUPPORT:
        return None
    found = radius_mm + float(np.median((offset / px_per_mm)[keep]))
    count = int(keep.sum())
    samples = EdgeSamples(points[keep], -np.sign(strength[keep]), np.full(count, 0.4), np.zeros(count))
    return Circle(name, found, height_mm, samples, float(keep.mean()))


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
