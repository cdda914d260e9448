"""The rotor's rim: the outermost circular edge, found in a band laid along an ellipse and straightened.

Along the band everything round is straight: the rim, the chamfer beside it, the edge of the unworn lip. Ground,
shadow and clutter are not. The band is smoothed along the rim, so that texture averages out and edges stay.
"""

from dataclasses import dataclass

import cv2
import numpy as np

from vision.edges import Image, profiles
from vision.ellipse import Ellipse
from vision.figure import EdgeSamples
from vision.measurement import FloatArray

ANGLES = 720
BAND_SHARE = 0.075
SMOOTH_ALONG = 7.0
EDGE_BLUR_PX = 1.0
WAVES = 2
Curve = tuple[FloatArray, FloatArray]
# A circle's edge, once its ellipse is right, runs straight to a fraction of this.
ON_LINE_PX = 0.9
EDGE_STD_PX = 0.3
# An ellipse needs five points and one to spare; a finger sets a handle to about two pixels.
LEAST_MARKS, MARK_STD_PX = 6, 2.0
TIGHT_PX = 0.7
WIDE_SHARE, NARROW_SHARES = 0.05, (0.03, 0.02)
SURE_TIGHTNESS, NEARLY, TRIED_LINES = 0.85, 0.85, 4
LEAST_LINE, CLEAR_CONTRAST = 0.2, 8.0


@dataclass(frozen=True)
class Band:
    """A photo unrolled along an ellipse.

    Attributes
    ----------
    foot_px, normal_px : (A, 2) ndarray
        Points of the ellipse and outward normals.
    along_px : (M,) ndarray
        Offsets outward.
    slope : (A, M, 3) ndarray
        Derivative of each colour channel outward, smoothed along the ellipse, levels per pixel.
    """

    foot_px: FloatArray
    normal_px: FloatArray
    along_px: FloatArray
    slope: FloatArray
    inside: FloatArray

    @classmethod
    def along(cls, photo: Image, curve: "Curve", reach_px: float, *, smooth: float = SMOOTH_ALONG) -> "Band":
        """Unroll ``photo`` (H, W, 3) to ``reach_px`` on both sides of a closed curve of feet and normals."""
        foot, normal = curve
        step = max(0.5, reach_px / 60)
        along = np.arange(-np.ceil(reach_px / step), np.ceil(reach_px / step) + 1) * step
        band = profiles(photo, foot, normal, along)
        return cls(foot, normal, along, _slope(band, step, smooth), _inside(photo, foot, normal, along))

    @property
    def noise(self) -> float:
        """Usual strength in the outer third, where there is only ground, levels per pixel."""
        outer = self.strength[:, -len(self.along_px) // 3 :]
        return max(0.2, float(np.median(outer)))

    @property
    def strength(self) -> FloatArray:
        """Edge strength (A, M), all channels together."""
        total: FloatArray = np.linalg.norm(self.slope, axis=2)
        return total


def _slope(band: FloatArray, step_px: float, smooth: float) -> FloatArray:
    """Smooth along the rim (which wraps round) and differentiate across it."""
    count = int(np.ceil(2.5 * smooth))
    padded = np.concatenate([band[-count:], band, band[:count]]).astype(np.float32)
    blurred = cv2.GaussianBlur(
        padded, (0, 0), sigmaX=EDGE_BLUR_PX / step_px, sigmaY=smooth, borderType=cv2.BORDER_REPLICATE
    )
    slope: FloatArray = np.gradient(blurred[count:-count].astype(np.float64), step_px, axis=1)
    return slope


def _inside(photo: Image, foot: FloatArray, normal: FloatArray, along: FloatArray) -> FloatArray:
    xy = foot[:, None, :] + along[None, :, None] * normal[:, None, :]
    height, width = photo.shape[:2]
    held = (xy > 1).all(axis=2) & (xy[..., 0] < width - 2) & (xy[..., 1] < height - 2)
    return np.asarray(held, np.float64)


@dataclass(frozen=True)
class Line:
    """A smooth line along the band: a circle of the rotor, nearly.

    Attributes
    ----------
    offset_px : (A,) ndarray
        Offset at each angle.
    support : float
        Share of the angles with an edge on the line.
    contrast : float
        Median strength on the line over the band's usual strength.
    """

    offset_px: FloatArray
    support: float
    contrast: float


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
    """

    ellipse: Ellipse
    samples: EdgeSamples
    support: float
    tightness: float
    in_frame: float
    noise: float
    by_hand: bool = False


def lines_of(band: Band, noise: float) -> list[Line]:
    """Find the lines that run along a band, outermost first; ``noise`` is the usual strength where there is none."""
    strength = band.strength
    peak = peaks(strength, 3.0 * noise, band.along_px)
    step = band.along_px[1] - band.along_px[0]
    spacing = max(2.0, 0.12 * band.along_px[-1])
    found: list[Line] = []
    for start in np.arange(band.along_px[0] + spacing, band.along_px[-1] - spacing / 2, spacing):
        offset = _settle(peak, start, spacing)
        if offset is None:
            continue
        line = _rate(band, peak, strength / noise, offset)
        if not any(np.abs(line.offset_px - other.offset_px).mean() < 2 * step for other in found):
            found.append(line)
    return sorted(found, key=lambda line: -float(line.offset_px.mean()))


def peaks(strength: FloatArray, threshold: float, along_px: FloatArray) -> FloatArray:
    """Return the offsets (A, M) of the maxima across the band, to a fraction of a step; infinite elsewhere."""
    left, middle, right = strength[:, :-2], strength[:, 1:-1], strength[:, 2:]
    peak = (middle >= left) & (middle > right) & (middle > threshold)
    bend = np.minimum(left - 2 * middle + right, -1e-9)
    shift = np.clip(0.5 * (left - right) / bend, -1, 1) * (along_px[1] - along_px[0])
    offsets = np.where(peak, along_px[None, 1:-1] + shift, np.inf)
    return np.pad(offsets, ((0, 0), (1, 1)), constant_values=np.inf)


def _waves(count: int) -> FloatArray:
    angle = np.arange(count) * (2 * np.pi / count)
    columns = [np.ones(count)]
    for order in range(1, WAVES + 1):
        columns += [np.cos(order * angle), np.sin(order * angle)]
    return np.stack(columns, axis=1)


def nearest(peak: FloatArray, offset_px: FloatArray) -> FloatArray:
    """Return the offset of each angle's peak nearest to a line (A,), infinite where there is none."""
    best = np.abs(peak - offset_px[:, None]).argmin(axis=1)
    nearest: FloatArray = peak[np.arange(len(peak)), best]
    return nearest


def _settle(peak: FloatArray, start_px: float, spacing_px: float) -> FloatArray | None:
    """Let a line that starts straight settle on the peaks near it, in a narrowing window."""
    waves = _waves(len(peak))
    offset = np.full(len(peak), start_px)
    for window in (1.2 * spacing_px, 0.8 * spacing_px, 0.5 * spacing_px, 0.35 * spacing_px, 0.35 * spacing_px):
        near = nearest(peak, offset)
        use = np.abs(near - offset) < max(window, 1.5)
        if use.sum() < len(peak) // 5:
            return None
        # A weak pull to the start keeps the waves tame where much of the rim is hidden.
        pull = np.diag([0.0, 0.3, 0.3, 1.0, 1.0])
        left = waves[use].T @ waves[use] + pull
        offset = waves @ np.linalg.solve(left, waves[use].T @ near[use])
    return offset


def _rate(band: Band, peak: FloatArray, contrast: FloatArray, offset_px: FloatArray) -> Line:
    near = nearest(peak, offset_px)
    on = np.abs(near - offset_px) <= ON_LINE_PX
    column = np.clip(np.searchsorted(band.along_px, offset_px), 0, len(band.along_px) - 1)
    rows = np.arange(len(peak))
    seen = band.inside[rows, column] > 0
    support = float((on & seen).sum() / max(1, seen.sum()))
    return Line(offset_px, support, float(np.median(contrast[rows, column][seen])) if seen.any() else 0.0)


def trace_rim(photo: Image, start: Ellipse) -> Rim | None:
    """Follow the rim from an ellipse that runs near it, within some hundredths of the radius.

    Parameters
    ----------
    photo : (H, W, 3) ndarray of uint8
    start : Ellipse

    Returns
    -------
    Rim or None
        None where no line along the ellipse is supported by a third of the circle.
    """
    band = Band.along(photo, start.points(ANGLES), WIDE_SHARE * start.radius_px)
    lines = lines_of(band, band.noise)
    first = outermost(lines)
    if first is None:
        return None
    rim = _settled(photo, _along(band, first), band.noise)
    if rim is not None and rim.tightness > SURE_TIGHTNESS:
        return rim
    # The outermost line may be a mixture of the rim and of the wall beside it: let the others try too.
    others = [_settled(photo, _along(band, line), band.noise) for line in lines[:TRIED_LINES] if line is not first]
    found = [one for one in (rim, *others) if one is not None]
    best = max((one.tightness for one in found), default=0.0)
    tight = [one for one in found if one.tightness > NEARLY * best]
    return max(tight, key=lambda one: one.ellipse.radius_px, default=None)


def _settled(photo: Image, ellipse: Ellipse, noise: float) -> Rim | None:
    """Let an ellipse settle on the line nearest to the rim it runs along, in two narrower bands."""
    for share in NARROW_SHARES:
        band = Band.along(photo, ellipse.points(ANGLES), share * ellipse.radius_px)
        noise = min(noise, band.noise)
        line = outermost(lines_of(band, noise))
        if line is None:
            return None
        ellipse = _along(band, line)
    near = Band.along(photo, ellipse.points(ANGLES), max(4.0, 0.012 * ellipse.radius_px), smooth=2.0)
    samples, support = _on_line(near, noise, 0.0, 2.5)
    _, tightness = _on_line(near, noise, 0.0, TIGHT_PX)
    seen = near.inside[:, len(near.along_px) // 2] > 0
    return Rim(ellipse, samples, support, tightness, float(seen.mean()), noise)


def outermost(lines: list[Line]) -> Line | None:
    """Choose the rim among a band's lines, outermost first: the first that is supported nearly as well as any."""
    best = max((line.support for line in lines), default=0.0)
    for line in lines:
        if line.support > max(0.33, 0.8 * best):
            return line
    return None


def _along(band: Band, line: Line) -> Ellipse:
    xy = band.foot_px + line.offset_px[:, None] * band.normal_px
    return Ellipse.through(xy)


def follow_circle(photo: Image, curve: Curve, noise: float, reach_px: float) -> EdgeSamples:
    """Sample the rim once more along a fitted circle's picture, where every circle of the face runs straight.

    Parameters
    ----------
    photo : (H, W, 3) ndarray of uint8
    curve : pair of (A, 2) ndarray
        The circle's points and outward normals, pixels.
    noise : float
        As `Rim.noise`.
    reach_px : float
        How far off the circle may be.
    """
    band = Band.along(photo, curve, 2 * reach_px, smooth=3.0)
    lines = _straight_lines(band, noise)
    if not lines:
        return _on_line(band, noise, 0.0, ON_LINE_PX)[0]
    best = max(line.support for line in lines)
    near = [line for line in lines if abs(line.offset_px) < reach_px and line.support > 0.6 * best] or lines
    line = min(near, key=lambda line: abs(line.offset_px))
    # A dark chamfer between a bright face and bright ground: its outer edge is the rim's.
    beyond = [other for other in lines if line.offset_px < other.offset_px < line.offset_px + reach_px]
    edges = [o for o in beyond if o.brightness < -0.3 and o.support > 0.5 and o.contrast > CLEAR_CONTRAST]
    if line.brightness > 0.3 and edges:
        line = edges[0]
    return _on_line(band, noise, line.offset_px, 1.6)[0]


@dataclass(frozen=True)
class _Straight:
    """A circle of the face along a band that follows the rim: offset, share of the angles, sign and contrast."""

    offset_px: float
    support: float
    brightness: float
    contrast: float


def _straight_lines(band: Band, noise: float) -> list[_Straight]:
    """Find the lines that run straight along a band, innermost first."""
    strength = band.strength
    peak = peaks(strength, 3.0 * noise, band.along_px)
    trial = np.arange(band.along_px[0] + 1, band.along_px[-1] - 0.9, 0.25)
    support = np.array([(np.abs(peak - at) < ON_LINE_PX).any(axis=1).mean() for at in trial])
    padded = np.pad(support, 1)
    local = (support >= padded[:-2]) & (support > padded[2:]) & (support > LEAST_LINE)
    return [_straight(band, peak, strength / noise, float(at)) for at in trial[local]]


def _straight(band: Band, peak: FloatArray, contrast: FloatArray, offset_px: float) -> _Straight:
    near = nearest(peak, np.full(len(peak), offset_px))
    rows = np.flatnonzero(np.abs(near - offset_px) < ON_LINE_PX)
    column = np.searchsorted(band.along_px, near[rows]).clip(0, len(band.along_px) - 1)
    falling = np.where(band.slope[rows, column].sum(axis=1) < 0, 1.0, -1.0)
    return _Straight(offset_px, len(rows) / len(peak), float(falling.mean()), float(np.median(contrast[rows, column])))


def _on_line(band: Band, noise: float, offset_px: float, width_px: float) -> tuple[EdgeSamples, float]:
    """Return the edge samples within ``width_px`` of a straight line of a band, and their share of it."""
    strength = band.strength
    near = nearest(peaks(strength, 3.0 * noise, band.along_px), np.full(len(strength), offset_px))
    use = np.abs(near - offset_px) < width_px
    offset = np.where(use, near, 0.0)
    rows, column = np.arange(len(offset)), np.searchsorted(band.along_px, offset)
    bright_inside = np.where(band.slope[rows, column].sum(axis=1) < 0, 1.0, -1.0)
    xy = band.foot_px + offset[:, None] * band.normal_px
    count = int(use.sum())
    samples = EdgeSamples(xy[use], bright_inside[use], np.full(count, EDGE_STD_PX), np.zeros(count, int))
    seen = band.inside[:, len(band.along_px) // 2] > 0
    return samples, float((use & seen).sum() / max(1, seen.sum()))


def marked_rim(xy_px: FloatArray) -> Rim:
    """Return the rim through points that a person set, at least `LEAST_MARKS` of them: (N, 2) pixels."""
    count = len(xy_px)
    samples = EdgeSamples(xy_px, np.zeros(count), np.full(count, MARK_STD_PX), np.zeros(count, int))
    return Rim(Ellipse.through(xy_px), samples, 1.0, 1.0, 1.0, 0.0, by_hand=True)
