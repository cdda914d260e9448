"""The bolt holes and the centre bore: how many, on what circle, and at what height over the face.

Everything is looked for in planes parallel to the face. A plane at the wrong height puts its circles off the axis;
the right one puts all of them round it, so the height is found where the holes repeat best.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np

from vision.concentric import clearness
from vision.edges import offsets_px, profiles, slopes, steepest
from vision.measurement import FloatArray
from vision.ring import Face, Map, Mask, Pixels, unwrap, wrapped

COLUMNS = 240
VOTE_RADII = (4.5, 5.5, 6.5, 7.5, 8.5)
MOST_VOTES = 60.0
COUNTS = (3, 4, 5, 6, 8, 10)
# Bolts of passenger cars; 3, 8 and 10 are looked for so that they are not taken for 6, 4 or 5.
COUNT_PRIOR = {3: 0.1, 4: 1.0, 5: 1.0, 6: 1.0, 8: 0.2, 10: 0.05}
# Radii over the rim's: bore, bolt circle, hat.
INNER_SHARE, OUTER_SHARE = 0.12, 0.62
BOLT_SHARE = (0.22, 0.54)
# A bolt hole's radius over its bolt circle's, and the same in columns of the planes.
HOLE_SHARE = (0.085, 0.18)
# Heights over the face at a rim of 330 mm: of the hat standing up, and of its inner side when it hangs down.
HEIGHTS_UP = tuple(np.arange(4.0, 66.0, 4.0))
HEIGHTS_DOWN = tuple(np.arange(-72.0, -10.0, 4.0))
# Middle, spread and a penalty for lying hat down, in the units of a score.
USUAL_UP, USUAL_DOWN = (28.0, 20.0, 0.0), (-45.0, 20.0, 0.7)
TRIED = 4
# The bore's radius over the rim's, and the bolt circle's over the bore's.
BORE_SHARE = (0.13, 0.35)
BOLT_OVER_BORE = (1.25, 2.5)
BORE_WEIGHT = 4.0
# A count's odds are the exponential of its score times this: set on the fitting set.
SURENESS = 1.3
HOLE_RAYS = 32


@dataclass(frozen=True, eq=False)
class Bolts:
    """Holes or studs round the axis.

    Attributes
    ----------
    count : int
    probability : float
        That the count is right.
    height_mm, circle_mm : float
        Height of their plane over the face, and their circle's radius on it.
    bore_mm : float
        Radius of the centre bore, or of the hub that fills it.
    angles_rad : (count,) ndarray
    score : float
        How far they stand out, in units of the hat's own texture.
    """

    count: int
    probability: float
    height_mm: float
    circle_mm: float
    bore_mm: float
    angles_rad: FloatArray
    score: float


@dataclass(frozen=True, eq=False)
class _Plane:
    """The middle of the rotor in one plane."""

    height_mm: float
    outer_mm: float
    level: Map
    seen: Mask

    @property
    def step_rad(self) -> float:
        return 2 * np.pi / COLUMNS

    @property
    def radii_mm(self) -> FloatArray:
        return np.asarray(self.outer_mm * np.exp(-self.step_rad * np.arange(len(self.level))), np.float64)


def find_bolts(
    bgr: Pixels, face: Face, *, hat_up: bool | None = None, hidden_mm: Sequence[FloatArray] = ()
) -> Bolts | None:
    """Count the bolt holes.

    Parameters
    ----------
    bgr : (H, W, 3) ndarray of uint8
    face : Face
    hat_up : bool, optional
        Whether the hat stands toward the camera; both are tried where not said.
    hidden_mm : sequence of (K, 2) ndarray
        Outlines of what lies on the hat, mm in its plane.

    Returns
    -------
    Bolts or None
        None where nothing repeats.
    """
    scale = face.rim_radius_mm / 165.0
    heights = {True: HEIGHTS_UP, False: HEIGHTS_DOWN, None: HEIGHTS_DOWN + HEIGHTS_UP}[hat_up]
    grey, small = _shrunk(np.asarray(cv2.cvtColor(bgr, cv2.COLOR_BGR2GRAY), np.uint8), face)
    planes = [_plane(grey, small, height * scale, hidden_mm) for height in heights]
    bores = [_bore_in(plane) for plane in planes]
    likely = sorted(range(len(planes)), key=lambda i: _unusual(heights[i]) / BORE_WEIGHT - bores[i][0])[:TRIED]
    found = [_bolts_in(planes[i], bores[i]) for i in likely]
    best = max(found, key=lambda bolts: bolts.score - _unusual(bolts.height_mm / scale))
    return best if best.score > 0 else None


def _unusual(height_mm: float) -> float:
    """Penalty on heights that few rotors have: it settles what a photo taken square on leaves open."""
    middle, spread, rarity = USUAL_UP if height_mm > 0 else USUAL_DOWN
    return 0.5 * ((height_mm - middle) / spread) ** 2 + rarity


@dataclass(frozen=True)
class _Shrunk:
    """A face seen in a photo made smaller by a whole factor."""

    face: Face
    factor: int

    @property
    def rim_radius_mm(self) -> float:
        return self.face.rim_radius_mm

    def to_pixels(self, points_mm: FloatArray) -> FloatArray:
        shrunk: FloatArray = (self.face.to_pixels(points_mm) + 0.5) / self.factor - 0.5
        return shrunk

    def to_plane(self, xy_px: FloatArray, height_mm: float = 0.0) -> FloatArray:
        return self.face.to_plane((xy_px + 0.5) * self.factor - 0.5, height_mm)


def _shrunk(grey: Pixels, face: Face) -> tuple[Pixels, _Shrunk]:
    """Shrink a photo once to what a search over many planes needs."""
    radius = 0.3 * face.rim_radius_mm
    ends = face.to_pixels(np.array([[radius, 0, 0], [-radius, 0, 0], [0, radius, 0], [0, -radius, 0]], float))
    across = max(float(np.linalg.norm(ends[0] - ends[1])), float(np.linalg.norm(ends[2] - ends[3])))
    factor = max(1, round(np.pi * across / COLUMNS / 1.2))
    height, width = grey.shape[0] // factor, grey.shape[1] // factor
    part = grey[: height * factor, : width * factor]
    return np.asarray(cv2.resize(part, (width, height), interpolation=cv2.INTER_AREA), np.uint8), _Shrunk(face, factor)


def _plane(grey: Pixels, face: Face, height_mm: float, hidden_mm: Sequence[FloatArray]) -> _Plane:
    span = (INNER_SHARE * face.rim_radius_mm, OUTER_SHARE * face.rim_radius_mm)
    flat, seen, _ = unwrap(grey, face, span, z_mm=height_mm, columns=COLUMNS, hidden_mm=hidden_mm)
    return _Plane(height_mm, span[1], np.log(flat.astype(np.float32) + 8.0), seen)


def _bore_in(plane: _Plane) -> tuple[float, float]:
    """Return how clearly one circle round the axis steps alike all round, over the usual step, and its radius."""
    alike = clearness(plane.level, plane.seen)
    share = plane.radii_mm[1:-1] / plane.outer_mm * OUTER_SHARE
    rows = (share > BORE_SHARE[0]) & (share < BORE_SHARE[1])
    row = int(np.where(rows, alike, -np.inf).argmax())
    return float(alike[row]), float(plane.radii_mm[1 + row])


def _bolts_in(plane: _Plane, bore: tuple[float, float]) -> Bolts:
    """Find the count, circle and phase whose holes stand out most in one plane."""
    over_rim, over_bore = plane.radii_mm / plane.outer_mm * OUTER_SHARE, plane.radii_mm / bore[1]
    fits = (over_rim > BOLT_SHARE[0]) & (over_rim < BOLT_SHARE[1])
    fits &= (over_bore > BOLT_OVER_BORE[0]) & (over_bore < BOLT_OVER_BORE[1])
    rows = np.nonzero(fits)[0]
    votes = outline_votes(plane.level)[rows]
    votes /= float(np.median(votes)) + 0.02
    best = {count: _comb(votes, plane.seen[rows], count) for count in COUNTS}
    weight = {count: COUNT_PRIOR[count] * np.exp(SURENESS * min(found[0], 30.0)) for count, found in best.items()}
    count = max(weight, key=lambda n: weight[n])
    score, row, column = best[count]
    angles = plane.step_rad * (column + np.arange(count) * COLUMNS / count)
    return Bolts(
        count,
        float(weight[count] / sum(weight.values())),
        plane.height_mm,
        float(plane.radii_mm[rows[0] + row]),
        bore[1],
        np.asarray(angles % (2 * np.pi), np.float64),
        score + BORE_WEIGHT * bore[0],
    )


def outline_votes(level: Map, radii: Sequence[float] = VOTE_RADII) -> Map:
    """Let every edge vote for the middles of bolt holes it may bound, on either side of it.

    A hole may be darker than the hat, brighter, or half and half: its outline is a circle all the same. (The voting
    of G. Loy, A. Zelinsky, "Fast radial symmetry for detecting points of interest", 2003, without the sign.)
    """
    pad = int(radii[-1]) + 2
    soft = cv2.GaussianBlur(wrapped(level, pad), (0, 0), 1.0)
    x = cv2.Sobel(soft, cv2.CV_32F, 1, 0, ksize=3, scale=0.125)
    y = cv2.Sobel(soft, cv2.CV_32F, 0, 1, ksize=3, scale=0.125)
    size = np.hypot(x, y)
    row, column = np.nonzero(size > max(0.03, 1.5 * float(np.median(size))))
    along_x, along_y = x[row, column] / size[row, column], y[row, column] / size[row, column]
    weight = np.minimum(size[row, column], 0.2)
    total = np.zeros(size.shape, np.float32)
    for radius in radii:
        votes = np.zeros(size.size)
        for side in (-radius, radius):
            at_row = np.clip(np.round(row + side * along_y).astype(int), 0, size.shape[0] - 1)
            at_column = np.clip(np.round(column + side * along_x).astype(int), 0, size.shape[1] - 1)
            votes += np.bincount(at_row * size.shape[1] + at_column, weight, size.size)
        soft_votes = cv2.GaussianBlur(votes.reshape(size.shape).astype(np.float32), (0, 0), 1.2) / radius
        total = np.maximum(total, soft_votes)
    return total[pad:-pad, pad:-pad]


def _comb(votes: Map, seen: Mask, count: int) -> tuple[float, int, int]:
    """Return the best score, row and column of ``count`` equal spots; the weakest one is forgiven."""
    teeth = np.where(seen, np.minimum(votes, MOST_VOTES) ** 0.7, 0).reshape(len(votes), count, COLUMNS // count)
    known = seen.reshape(teeth.shape).sum(axis=1)
    share = np.where(known >= max(3, count - 1), np.sqrt(count) / np.maximum(known - 1, 1), 0.0)
    score = (teeth.sum(axis=1) - teeth.min(axis=1)) * share
    row, column = np.unravel_index(score.argmax(), score.shape)
    return float(score[row, column]), int(row), int(column)


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


def settled(face: Face, bolts: Bolts, centres_px: FloatArray) -> Bolts:
    """Lower or raise the plane until the holes' centres lie on one circle round the axis, and read its radius."""
    if len(centres_px) < 3:
        return bolts
    heights = bolts.height_mm + np.arange(-8.0, 8.1, 0.5) * face.rim_radius_mm / 165.0
    radii = np.array([np.hypot(*face.to_plane(centres_px, height).T) for height in heights])
    # Far from the searched height only clear evidence counts: seen square on, every height fits.
    misfit = radii.std(axis=1) / radii.mean(axis=1) + 2e-5 * np.abs(heights - bolts.height_mm)
    best = int(misfit.argmin())
    return replace(bolts, height_mm=float(heights[best]), circle_mm=float(radii[best].mean()))
