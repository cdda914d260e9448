"""The bolt holes' outlines, to a fraction of a pixel, and the plane in which they stand on one circle."""

from dataclasses import replace

import cv2
import numpy as np
import numpy.typing as npt

from vision.bolts import HOLE_RADII_MM, Bolts
from vision.edges import offsets_px, profiles, slopes, steepest
from vision.measurement import FloatArray
from vision.ring import Face, Pixels
from vision.top_view import HALF_STEPS, TopView

# A bolt hole's radius over its bolt circle's.
HOLE_SHARE = (0.085, 0.18)
USUAL_HOLE = 0.13
HOLE_RAYS = 32
LEAST_HOLES = 3
# How far from its place a hole's votes are looked at, in pixels of the view from above.
SPOT_PX = 4
_SPOT = np.stack(np.meshgrid(*2 * [np.arange(-SPOT_PX, SPOT_PX + 1)]), axis=-1)
# At a rim of 330 mm: how well a hole's centre is found; how far off it may lie, in usual distances, and the limits of
# that; heights tried, and how well the
# search knows them.
CENTRE_STD_MM, SPREADS, WORST_CENTRE_MM = 0.15, 3.0, (1.2, 5.0)
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
    turn = bolts.angles_rad
    circles = np.column_stack([bolts.circle_mm * np.cos(turn), bolts.circle_mm * np.sin(turn), 0 * turn])
    circles[:, 2] = USUAL_HOLE * bolts.circle_mm
    for reach in (1.1, 0.5):
        found = [_trimmed_circle(edge) for edge in _outlines(grey, face, circles, (bolts.height_mm, reach))]
        fits = [c is not None and HOLE_SHARE[0] < c[2] / bolts.circle_mm < HOLE_SHARE[1] for c in found]
        circles = np.array([c for c, fit in zip(found, fits, strict=True) if c is not None and fit]).reshape(-1, 3)
        if not len(circles):
            return np.zeros((0, 2))
    return face.to_pixels(np.column_stack([circles[:, :2], np.full(len(circles), bolts.height_mm)]))


def stud_tops(view: TopView, bolts: Bolts) -> FloatArray:
    """Find roughly where each hole, nut or stud is: where most edges round its place in the pattern point.

    Parameters
    ----------
    view : TopView
    bolts : Bolts

    Returns
    -------
    (K, 2) ndarray
        Pixels of the photo, to about half a millimetre; those that a reference hides are left out.
    """
    votes, turn = view.votes(HOLE_RADII_MM), bolts.angles_rad
    places = bolts.circle_mm * np.stack([np.cos(turn), np.sin(turn)], axis=-1).reshape(1, -1, 2)
    on_view = cv2.perspectiveTransform(places, view.on_view(np.array([bolts.height_mm]))[0])[0]
    found = []
    for column, row in np.rint(on_view).astype(int):
        part = np.s_[row - SPOT_PX : row + SPOT_PX + 1, column - SPOT_PX : column + SPOT_PX + 1]
        if votes[part].shape == _SPOT.shape[:2] and view.seen[part].all():
            weight = np.maximum(votes[part] - votes[part].mean(), 0.0)[..., None] + 1e-9
            found.append((weight * _SPOT).sum(axis=(0, 1)) / weight.sum() + (column, row))
    flat = (np.array(found).reshape(-1, 2) - HALF_STEPS) * view.mm_per_px
    return view.face.to_pixels(np.column_stack([flat, np.zeros(len(flat))]))


def _outlines(grey: Pixels, face: Face, circles: FloatArray, plane: tuple[float, float]) -> list[FloatArray]:
    """Points (K, 2) mm of each circle's plane where brightness steps most along rays from its middle."""
    height_mm, reach = plane
    turn = np.arange(HOLE_RAYS) * (2 * np.pi / HOLE_RAYS)
    ray = np.tile(np.stack([np.cos(turn), np.sin(turn), 0 * turn], axis=-1), (len(circles), 1))
    middle = np.repeat(np.column_stack([circles[:, :2], np.full(len(circles), height_mm)]), HOLE_RAYS, axis=0)
    size = np.repeat(circles[:, 2], HOLE_RAYS)
    foot = middle + size[:, None] * ray
    here = face.to_pixels(foot)
    normal = face.to_pixels(foot + ray) - here
    px_per_mm = np.linalg.norm(normal, axis=1)
    reach_px = max(2.0, 0.6 * reach * float(np.median(size * px_per_mm)))
    along = offsets_px(reach_px, step_px=max(0.5, reach_px / 20))
    slope = slopes(profiles(grey, here, normal / px_per_mm[:, None], along), along, blur_px=max(1.0, reach_px / 20))
    offset, strength = (part.reshape(len(circles), HOLE_RAYS) for part in steepest(slope, along))
    good = np.isfinite(offset) & (np.abs(strength) > 0.4 * np.median(np.abs(strength), axis=1, keepdims=True))
    far = size + np.where(good, offset, 0).ravel() / px_per_mm
    points = (middle + far[:, None] * ray)[:, :2].reshape(len(circles), HOLE_RAYS, 2)
    return [outline[shown] for outline, shown in zip(points, good, strict=True)]


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
    # A ray meets parallel planes at points that lie on a line, equally far apart.
    near, far = (face.to_plane(centres_px, heights[end]) for end in (0, -1))
    share = np.linspace(0, 1, len(heights))[:, None, None]
    first = _turned_onto_first((1 - share) * near + share * far, bolts)
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
    # A camera that is not known yet bends the whole pattern; one that stands out of it is another hole.
    off_mm = off[best] * CENTRE_STD_MM
    kept = centres_px[off_mm < np.clip(SPREADS * np.median(off_mm), *WORST_CENTRE_MM)]
    return pattern, kept if len(kept) >= LEAST_HOLES else np.zeros((0, 2))


def _turned_onto_first(xy_mm: FloatArray, bolts: Bolts) -> npt.NDArray[np.complex128]:
    """Turn each hole's centre by whole steps of the pattern onto the first hole's place, as ``x + i y``."""
    centre = xy_mm[..., 0] + 1j * xy_mm[..., 1]
    steps = np.round((np.angle(centre) - bolts.angles_rad[0]) * bolts.count / (2 * np.pi))
    turned: npt.NDArray[np.complex128] = centre * np.exp(-2j * np.pi * steps / bolts.count)
    return turned
