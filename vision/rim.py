"""The rotor's rim: the outermost circular edge, found in a band laid along an ellipse and straightened."""

from dataclasses import dataclass

import numpy as np

from vision.band import Band, BoolArray, Curve, nearest
from vision.edges import Image
from vision.ellipse import Ellipse
from vision.figure import EdgeSamples
from vision.lines import Line, find_lines
from vision.measurement import FloatArray

ROUGH_ANGLES, ANGLES = 360, 720
# Smoothing along the rim, in degrees.
SMOOTH_DEG = 3.5
# A circle's edge, once its ellipse is right, runs straight to a fraction of this.
ON_LINE_PX = 0.9
EDGE_STD_PX = 0.3
# An ellipse needs five points and one to spare; a finger sets a handle to about two pixels.
LEAST_MARKS, MARK_STD_PX = 6, 2.0
TIGHT_PX = 0.7
WIDE_SHARE, NARROW_SHARE, NEAR_SHARE = 0.06, 0.012, 0.012
# Waves of a line, as shares of the radius.
WIDE_WAVES, NARROW_WAVES = 0.03, 0.006
LEAST_SUPPORT, NEARLY, SURE, FAIR = 0.3, 0.75, 0.85, 0.7
# The thinnest wall, as a share of the rim's radius; the least sine of the tilt at which one shows; how near, as a share
# of where they part, rim and outline run on the other side, and how well they part along the tilt.
LEAST_WALL, LEAST_SINE, TOUCHING, ALONG_TILT = 0.045, 0.12, 0.35, 0.8
# Lines nearer to each other are one edge; a halo of sharpening lies within a few pixels, and is weaker than its edge.
APART_PX, HALO_PX, HALO_STRENGTH, CLEAR_STRENGTH = 1.0, 3.5, 0.3, 0.1
RIM_SHARE, RIM_PX = 0.5, 1.6
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
    tightness : float
        Share with an edge so near that it is one circle's: a mixture of rim and wall comes out low.
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
    tightness: float
    in_frame: float
    noise: float
    by_hand: bool = False
    rating: float = 1.0


def trace_rim(photo: Image, start: Ellipse) -> Rim | None:
    """Follow the surest circle beside an ellipse, within some hundredths of its radius: the rim, or one just inside.

    Parameters
    ----------
    photo : (H, W, 3) ndarray of uint8
    start : Ellipse

    Returns
    -------
    Rim or None
        None where no line along the ellipse is supported by a third of the circle.
    """
    wide = _band(photo, start, ROUGH_ANGLES, WIDE_SHARE)
    lines = find_lines(wide, wide.noise, WIDE_WAVES * start.radius_px)
    if not lines or lines[0].support < LEAST_SUPPORT:
        return None
    ellipse = wide.ellipse(outermost(lines, start).offset_px)
    narrow = _band(photo, ellipse, ANGLES, NARROW_SHARE)
    noise = min(wide.noise, narrow.noise)
    line = _middlemost(find_lines(narrow, noise, NARROW_WAVES * start.radius_px))
    ellipse = ellipse if line is None else narrow.ellipse(line.offset_px)
    near = Band.along(photo, ellipse.points(ANGLES), max(4.0, NEAR_SHARE * ellipse.radius_px), smooth=2.0)
    straight = np.zeros(ANGLES)
    samples, support = _on_line(near, noise, straight, 2.5)
    _, tightness = _on_line(near, noise, straight, TIGHT_PX)
    return Rim(ellipse, samples, support, tightness, float((near.seen > 0).mean()), noise)


def outermost(lines: list[Line], ellipse: Ellipse) -> Line:
    """Choose the outermost of the sure ones among the lines along an ellipse, the surest first.

    Where the camera looks past the rim, the rotor's outline is the rim's on one side and the far edge of the wall on
    the other, and fits an ellipse as well as the rim does: of two lines that part on one side only, the inner counts.
    """
    sure = [line for line in lines if line.sureness > SURE * lines[0].sureness]
    fair = [line for line in lines if line.sureness > FAIR * lines[0].sureness]
    ordered = sorted(sure, key=_level, reverse=True)
    for line in ordered:
        if not any(_parts_as_walls_do(line, inner, ellipse) for inner in fair):
            return line
    return max(fair, key=lambda line: line.sureness * (_level(line) <= _level(ordered[-1])))


def _parts_as_walls_do(outer: Line, inner: Line, ellipse: Ellipse) -> bool:
    """Whether two lines lie together on one side, and a wall apart on the other: nearer to or farther from the eye."""
    gap = outer.offset_px - inner.offset_px
    most = float(gap.max())
    least_px = LEAST_WALL * ellipse.radius_px * ellipse.sine
    if ellipse.sine < LEAST_SINE or most < least_px or float(gap.min()) > TOUCHING * most:
        return False
    turn = np.arange(len(gap)) * (2 * np.pi / len(gap))
    lean = np.array([(gap * np.cos(turn)).sum(), (gap * np.sin(turn)).sum()])
    return float(np.abs(lean[ellipse.half_axes_px.argmin()])) > ALONG_TILT * float(np.linalg.norm(lean))


def _middlemost(lines: list[Line]) -> Line | None:
    best = max((line.support for line in lines), default=0.0)
    good = [line for line in lines if line.support > NEARLY * best]
    return min(good, key=lambda line: float(np.abs(line.offset_px).mean()), default=None)


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


def follow_rim(photo: Image, curve: Curve, is_outline: BoolArray, look: Look) -> EdgeSamples:
    """Sample the rim along a fitted circle's picture, where every circle of the face runs straight.

    Parameters
    ----------
    photo : (H, W, 3) ndarray of uint8
    curve : pair of (A, 2) ndarray
        The circle's points and outward normals, pixels.
    is_outline : (A,) ndarray of bool
        Where nothing of the rotor can show outside its rim. Elsewhere the wall's far edge may.
    look : Look
    """
    band, coarse = (Band.along(photo, curve, look.reach_px, smooth=smooth) for smooth in (FINE, COARSE))
    lines = find_lines(coarse, min(look.noise, coarse.noise), look.wave_px, is_outline)
    if not lines:
        return _on_line(band, look.noise, np.zeros(len(is_outline)), ON_LINE_PX)[0]
    sure = [line for line in lines if line.support > NEARLY * lines[0].support]
    inner = min(sure, key=_away)
    rim = max((line for line in lines if _is_rim(line, inner)), key=_level, default=inner)
    return _on_line(band, look.noise, rim.offset_px, RIM_PX)[0]


def _level(line: Line) -> float:
    return float(line.offset_px.mean())


def _away(line: Line) -> float:
    return float(np.abs(line.offset_px).mean())


def _is_rim(line: Line, inner: Line) -> bool:
    """Whether a line outside a sure circle is the rim and not the halo of a sharpened edge."""
    gap_px = float((line.offset_px - inner.offset_px).min())
    clear = (HALO_STRENGTH if gap_px < HALO_PX else CLEAR_STRENGTH) * inner.strength
    return gap_px > APART_PX and line.sureness > RIM_SHARE * inner.sureness and line.strength > clear


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
