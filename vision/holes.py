"""The bolt holes' outlines, to a fraction of a pixel, and the plane in which they stand on one circle."""

from dataclasses import replace

import numpy as np
import numpy.typing as npt

from vision.bolts import Bolts
from vision.edges import offsets_px, profiles, slopes, steepest
from vision.measurement import FloatArray
from vision.ring import Face, Pixels

# A bolt hole's radius over its bolt circle's.
HOLE_SHARE = (0.085, 0.18)
HOLE_RAYS = 32
LEAST_HOLES = 3
# At a rim of 330 mm: how well a hole's centre is found, and how far off it may lie; heights tried, and how well the
# search knows them.
CENTRE_STD_MM, WORST_CENTRE_MM = 0.15, 1.2
HEIGHT_TRIALS_MM, HEIGHT_STD_MM = np.arange(-24.0, 24.1, 0.5), 8.0


def bolt_holes(grey: Pixels, face: Face, bolts: Bolts) -> FloatArray:
    """Find the holes' centres to a fraction of a pixel.

    Parameters
    ----------
    grey : (H, W) ndarray of uint8
    face : Face
    bolts : Bolts

    Returns
    -------
    (K, 2) ndarray
        Centres ``(x, y)`` in pixels of the holes whose outline is a circle, K <= ``bolts.count``.
    """
    centres = [_hole_centre(grey, face, bolts, angle) for angle in bolts.angles_rad]
    return np.array([c for c in centres if c is not None], float).reshape(-1, 2)


def _hole_centre(grey: Pixels, face: Face, bolts: Bolts, angle: float) -> FloatArray | None:
    """Fit a circle, in the hat's plane, to the outline seen along rays from about the middle of a hole."""
    at = bolts.circle_mm * np.array([np.cos(angle), np.sin(angle)])
    size = 0.13 * bolts.circle_mm
    for reach in (1.1, 0.5):
        edge = _outline(grey, face, (at, size, bolts.height_mm), reach=reach)
        circle = _trimmed_circle(edge)
        if circle is None or not HOLE_SHARE[0] < circle[2] / bolts.circle_mm < HOLE_SHARE[1]:
            return None
        at, size = circle[:2], float(circle[2])
    return np.asarray(face.to_pixels(np.array([[at[0], at[1], bolts.height_mm]]))[0], np.float64)


def _outline(grey: Pixels, face: Face, hole: tuple[FloatArray, float, float], *, reach: float) -> FloatArray:
    """Points (K, 2) mm on the plane where brightness steps most along rays from a hole's middle."""
    at, size, height_mm = hole
    angle = np.arange(HOLE_RAYS) * (2 * np.pi / HOLE_RAYS)
    ray = np.stack([np.cos(angle), np.sin(angle), np.zeros(HOLE_RAYS)], axis=-1)
    foot = size * ray + np.array([at[0], at[1], height_mm])
    here = face.to_pixels(foot)
    normal = face.to_pixels(foot + ray) - here
    px_per_mm = np.linalg.norm(normal, axis=1)
    along = offsets_px(max(2.0, 0.6 * reach * size * float(np.median(px_per_mm))))
    slope = slopes(profiles(grey, here, normal / px_per_mm[:, None], along), along, blur_px=1.0)
    offset, strength = steepest(slope, along)
    good = np.isfinite(offset) & (np.abs(strength) > 0.4 * np.nanmedian(np.abs(strength)))
    far = size + np.where(good, offset, 0) / px_per_mm
    return np.asarray((np.asarray(at) + far[:, None] * ray[:, :2])[good], np.float64)


def _trimmed_circle(points: FloatArray) -> FloatArray | None:
    """Fit a circle ``(x, y, radius)`` and drop what lies off it, twice; None where half is off."""
    keep = np.ones(len(points), bool)
    circle = np.zeros(3)
    for tolerance in (0.25, 0.12, 0.12):
        if keep.sum() < HOLE_RAYS // 2:
            return None
        part = points[keep]
        design = np.column_stack([2 * part, np.ones(len(part))])
        x, y, rest = np.linalg.lstsq(design, (part**2).sum(axis=1), rcond=None)[0]
        circle = np.array([x, y, np.sqrt(max(rest + x * x + y * y, 1e-9))])
        keep = np.abs(np.hypot(*(points - circle[:2]).T) - circle[2]) < tolerance * circle[2]
    return circle


def settled(face: Face, bolts: Bolts, centres_px: FloatArray) -> tuple[Bolts, FloatArray]:
    """Lower or raise the plane until the holes stand on one circle round the axis, equally far apart.

    Parameters
    ----------
    face : Face
    bolts : Bolts
        As found, within some millimetres of the height.
    centres_px : (K, 2) ndarray

    Returns
    -------
    bolts : Bolts
        With the height, the circle's radius and the holes' angles of the pattern that fits best.
    centres_px : (L, 2) ndarray
        Those that belong to it; none where fewer than three do.
    """
    if len(centres_px) < LEAST_HOLES:
        return bolts, np.zeros((0, 2))
    unit_mm = face.rim_radius_mm / 165.0
    heights = bolts.height_mm + HEIGHT_TRIALS_MM * unit_mm
    first = np.array([_turned_onto_first(face.to_plane(centres_px, height), bolts) for height in heights])
    middle = np.median(first.real, axis=1) + 1j * np.median(first.imag, axis=1)
    weight = 1 / (1 + np.abs(first - middle[:, None]) ** 2 / (2 * CENTRE_STD_MM * unit_mm) ** 2)
    middle = (first * weight).sum(axis=1) / weight.sum(axis=1)
    off = np.abs(first - middle[:, None]) / (CENTRE_STD_MM * unit_mm)
    # Far from the searched height only clear evidence counts: seen square on, every height fits.
    misfit = (4 * np.log1p(off**2 / 4)).sum(axis=1) + (HEIGHT_TRIALS_MM / HEIGHT_STD_MM) ** 2
    best = int(misfit.argmin())
    turn = np.angle(middle[best]) + np.arange(bolts.count) * (2 * np.pi / bolts.count)
    pattern = replace(
        bolts,
        height_mm=float(heights[best]),
        circle_mm=float(np.abs(middle[best])),
        angles_rad=np.asarray(turn % (2 * np.pi), np.float64),
    )
    kept = centres_px[off[best] * CENTRE_STD_MM < WORST_CENTRE_MM]
    return pattern, kept if len(kept) >= LEAST_HOLES else np.zeros((0, 2))


def _turned_onto_first(xy_mm: FloatArray, bolts: Bolts) -> npt.NDArray[np.complex128]:
    """Turn each hole's centre by whole steps of the pattern onto the first hole's place, as ``x + i y``."""
    centre = xy_mm[:, 0] + 1j * xy_mm[:, 1]
    steps = np.round((np.angle(centre) - bolts.angles_rad[0]) * bolts.count / (2 * np.pi))
    turned: npt.NDArray[np.complex128] = centre * np.exp(-2j * np.pi * steps / bolts.count)
    return turned
