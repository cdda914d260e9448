"""The rotor's rim: the outermost circular edge, found in a band laid along an ellipse and straightened."""

from dataclasses import dataclass

import numpy as np

from vision.band import Band, BoolArray, Curve, nearest
from vision.edges import Image
from vision.ellipse import Ellipse
from vision.figure import EdgeSamples
from vision.lines import find_lines
from vision.measurement import FloatArray
from vision.outline_look import shipped_net

ROUGH_ANGLES, ANGLES = 360, 720
# Smoothing along the rim, in degrees.
SMOOTH_DEG = 3.5
# Of points on a rim each is so sure, pixels, and may lie so far off its line.
EDGE_STD_PX, RIM_PX = 0.3, 1.6
# An ellipse needs five points and one to spare; a finger sets a handle to about two pixels.
LEAST_MARKS, MARK_STD_PX = 6, 2.0
WIDE_SHARE, NEAR_SHARE = 0.06, 0.012
# Points along a fitted circle over which a band is smoothed: to sample the rim, and to see it on gravel.
FINE, COARSE = 3.0, 9.0


@dataclass(frozen=True)
class Rim:
    """The rotor's rim in a photo.

    Attributes
    ----------
    ellipse : Ellipse
    samples : EdgeSamples
        In order round the rim.
    support : float
        Share of the whole circle with a rim edge near it.
    evidence : float
        How surely it is a rim, as `OutlineNet.ellipse_beside` tells.
    in_frame : float
        Share of the circle inside the photo.
    noise : float
        Usual edge strength of the ground outside, levels per pixel.
    by_hand : bool
        Set by a person, and so not followed any further.
    rating : float
        How likely the circle is a rotor's, comparable within one photo.
    """

    ellipse: Ellipse
    samples: EdgeSamples
    support: float
    evidence: float
    in_frame: float
    noise: float
    by_hand: bool = False
    rating: float = 1.0


def trace_rim(photo: Image, start: Ellipse) -> Rim | None:
    """Find the rim beside an ellipse, within a tenth of its radius.

    Parameters
    ----------
    photo : (H, W, 3) ndarray of uint8
    start : Ellipse

    Returns
    -------
    Rim or None
        None where there is nothing like one.
    """
    ellipse, evidence = shipped_net("rim").ellipse_beside(photo, start)
    if not np.isfinite(evidence):
        return None
    wide = _band(photo, ellipse, ROUGH_ANGLES, WIDE_SHARE)
    near = Band.along(photo, ellipse.points(ANGLES), max(4.0, NEAR_SHARE * ellipse.radius_px), smooth=2.0)
    samples, support = _on_line(near, wide.noise, np.zeros(ANGLES), 2.5)
    return Rim(ellipse, samples, support, evidence, float((near.seen > 0).mean()), wide.noise)


def _band(photo: Image, ellipse: Ellipse, angles: int, share: float) -> Band:
    return Band.along(photo, ellipse.points(angles), share * ellipse.radius_px, smooth=SMOOTH_DEG * angles / 360)


@dataclass(frozen=True)
class Look:
    """How a circle is looked for.

    ``noise`` is the usual strength where there is no edge, ``reach_px`` how far off it may be, ``wave_px`` by how much
    it may depart from the round.
    """

    noise: float
    reach_px: float
    wave_px: float


def follow_rim(photo: Image, curve: Curve, radius_px: float, is_outline: BoolArray, look: Look) -> EdgeSamples:
    """Sample the rim along a fitted circle's picture, where every circle of the face runs straight.

    Parameters
    ----------
    photo : (H, W, 3) ndarray of uint8
    curve : pair of (A, 2) ndarray
        The circle's points and outward normals, pixels.
    radius_px : float
        Larger half axis of the picture.
    is_outline : (A,) ndarray of bool
        Where nothing of the rotor can show outside its rim. Elsewhere the wall's far edge may.
    look : Look
    """
    band, coarse = (Band.along(photo, curve, look.reach_px, smooth=smooth) for smooth in (FINE, COARSE))
    lines = find_lines(coarse, min(look.noise, coarse.noise), look.wave_px, is_outline)
    seen = shipped_net("rim").look(photo, curve, radius_px)
    offsets_px = [line.offset_px for line in lines] or [np.zeros(len(is_outline))]
    rim_px = max(offsets_px, key=lambda offset_px: float(seen.of(offset_px).mean()))
    return _on_line(band, look.noise, rim_px, RIM_PX)[0]


def _on_line(band: Band, noise: float, line_px: FloatArray, width_px: float) -> tuple[EdgeSamples, float]:
    """Return the edge samples within ``width_px`` of a line of a band (A,), and their share of it."""
    near = nearest(band.peaks(noise), line_px)
    use = np.abs(near - line_px) < width_px
    offset = np.where(use, near, 0.0)
    bright_inside = band.bright_inside(offset)
    xy = band.foot_px + offset[:, None] * band.normal_px
    count = int(use.sum())
    samples = EdgeSamples(xy[use], bright_inside[use], np.full(count, EDGE_STD_PX), np.zeros(count, int))
    seen = band.seen > 0
    return samples, float((use & seen).sum() / max(1, seen.sum()))


def marked_rim(xy_px: FloatArray) -> Rim:
    """Return the rim through points that a person set, at least `LEAST_MARKS` of them: (N, 2) pixels."""
    count = len(xy_px)
    samples = EdgeSamples(xy_px, np.zeros(count), np.full(count, MARK_STD_PX), np.zeros(count, int))
    return Rim(Ellipse.through(xy_px), samples, 1.0, 1.0, 1.0, 0.0, by_hand=True)
