"""The bolt holes' outlines, to a fraction of a pixel, and the plane in which they stand on one circle."""

from dataclasses import replace

import cv2
import numpy as np
import numpy.typing as npt

from vision.bolts import Bolts
from vision.circle_pose import circle
from vision.ellipse import Ellipse
from vision.measurement import FloatArray
from vision.outline_look import shipped_net
from vision.ring import Face, Pixels
from vision.top_view import TopView

# A bolt hole's radius over its bolt circle's.
HOLE_SHARE = (0.085, 0.18)
USUAL_HOLE = 0.13
POINTS = 32
# An outline's evidence from which it is a hole's, and the least radius that is looked at.
LEAST_EVIDENCE, LEAST_HOLE_PX = 1.5, 4.0
LEAST_HOLES = 3
# How far from its place a hole is looked for, in pixels of the view from above.
SPOT_PX = 4
_SPOT = np.stack(np.meshgrid(*2 * [np.arange(-SPOT_PX, SPOT_PX + 1)]), axis=-1)
# At a rim of 330 mm: how well a hole's centre is found; how far off it may lie, in usual distances, and the limits of
# that; heights tried, and how well the search knows them.
CENTRE_STD_MM, SPREADS, WORST_CENTRE_MM = 0.15, 3.0, (1.2, 5.0)
HEIGHT_TRIALS_MM, HEIGHT_STD_MM = np.arange(-24.0, 24.1, 0.5), 8.0


def bolt_holes(bgr: Pixels, face: Face, bolts: Bolts, spots_px: FloatArray) -> FloatArray:
    """Find the holes' centres to a fraction of a pixel, whatever stands in them.

    Parameters
    ----------
    bgr : (H, W, 3) ndarray of uint8
    face : Face
    bolts : Bolts
    spots_px : (K, 2) ndarray
        Roughly where they are.

    Returns
    -------
    (L, 2) ndarray
        Centres ``(x, y)`` in pixels of the holes whose outline is seen, L <= K.
    """
    net = shipped_net("hole")
    usual = circle(USUAL_HOLE * bolts.circle_mm, POINTS, bolts.height_mm)
    found = []
    for x, y in face.to_plane(spots_px, bolts.height_mm):
        start = Ellipse.through(face.to_pixels(usual + np.array([x, y, 0.0])))
        if start.radius_px < LEAST_HOLE_PX:
            continue
        ellipse, evidence = net.ellipse_beside(bgr, start, looks=1)
        outline = face.to_plane(ellipse.points(POINTS)[0], bolts.height_mm)
        middle = outline.mean(axis=0)
        share = float(np.linalg.norm(outline - middle, axis=1).mean()) / bolts.circle_mm
        if evidence > LEAST_EVIDENCE and HOLE_SHARE[0] < share < HOLE_SHARE[1]:
            found.append((*middle, bolts.height_mm))
    return face.to_pixels(np.array(found).reshape(-1, 3)) if found else np.zeros((0, 2))


def stud_tops(view: TopView, bolts: Bolts) -> FloatArray:
    """Find roughly where each hole, nut or stud is: where the net sees it round its place in the pattern.

    Parameters
    ----------
    view : TopView
    bolts : Bolts

    Returns
    -------
    (K, 2) ndarray
        Pixels of the photo, to about half a millimetre; those that a reference hides are left out.
    """
    turn = bolts.angles_rad
    places = bolts.circle_mm * np.stack([np.cos(turn), np.sin(turn)], axis=-1).reshape(1, -1, 2)
    on_view = cv2.perspectiveTransform(places, view.on_view(np.array([bolts.height_mm]))[0])[0]
    odds = view.hub.bolts[0 if bolts.height_mm > 0 else 1]
    found = []
    for column, row in np.rint(on_view).astype(int):
        part = np.s_[row - SPOT_PX : row + SPOT_PX + 1, column - SPOT_PX : column + SPOT_PX + 1]
        if odds[part].shape == _SPOT.shape[:2] and view.seen[part].all():
            weight = (1 / (1 + np.exp(-odds[part])))[..., None]
            found.append((weight * _SPOT).sum(axis=(0, 1)) / weight.sum() + (column, row))
    return view.pixels_of(np.array(found).reshape(-1, 2))


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
