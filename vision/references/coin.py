"""A coin of a named kind, told from the other circles on and round a rotor.

Its upper edge is one of many: the raised rim's inside, a core of another metal, the foot of its wall and its shadow
run beside it. The upper edge is the outermost circle that shows nearly all the way round; wall and shadow show on one
side only.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np

from vision.edges import Image
from vision.figure import Figure, Sighting
from vision.measurement import FloatArray
from vision.references.circles import Round, RoundEdge, fit_round, read_profiles, rounds
from vision.references.floor import Floor
from vision.references.lying import RIM_MM, rivals
from vision.references.parse import Lies, Reference
from vision.references.pieces import Contrast
from vision.references.sides import LEAST_STD_PX, edge_samples, to_pixels

# The search looks straight down on the face, at so many pixels across the rim.
VIEW_RIM_PX = 480.0
BENCH_REACH = 1.6
# Where a coin's middle may be, in shares of the rim's radius. The hat's holes are round too: none of them on the face.
ZONES: dict[Lies, tuple[float, float]] = {"face": (0.58, 1.0), "hat": (0.0, 0.62), "bench": (1.0, BENCH_REACH)}
# The far side of a tilted face looks smaller than the plane's scale has it, if the tilt is taken wrongly.
SLACK = (0.92, 1.08)
RADIUS_STEP = 1.07
CANDIDATES = 10
LEAST_VOTES = 0.35
WEAK, STRONG = 60.0, 140.0
LEAST_SUPPORT = 0.4
# A circle counts as good beside the best; its edges are sharp where they keep within so many pixels of it.
NEARLY_BEST = 0.55
SHARP_PX = 0.4
# A coin's raised rim is narrower than this: a circle farther in is another feature, not a rival for the edge.
RING_SHARE = 0.88
MOVED_SHARE = 0.03
ALIKE = 0.12
LEAST_RAYS = 0.4
# Coins' edges are rounded by one to two tenths of a millimetre: what is seen is where the flat ends (common practice).
ROUNDED_MM, ROUNDED_STD_MM = 0.1, 0.05
# Circles so much larger or smaller than the one picked may be the right one instead.
RIVAL_SHARES = (0.01, 0.09)


@dataclass(frozen=True)
class _Spot:
    """A circle on the plane, nominal mm, and its votes: 1 for a full round."""

    xy_mm: FloatArray
    radius_mm: float
    votes: float


def find_coins(bgr: Image, floors: Sequence[Floor], reference: Reference, *, lies: Lies) -> list[Sighting]:
    """Find a coin.

    Parameters
    ----------
    bgr : (H, W, 3) ndarray of uint8
    floors : sequence of Floor
        Where the rotor's face may be: both tilts of its rim.
    reference : Reference
    lies : {"face", "bench", "hat"}

    Returns
    -------
    list of Sighting
        Best first.
    """
    nominal = 2 * floors[0].rim_radius_mm
    radius_mm = reference.size_mm[0] / 2
    limits = SLACK[0] * radius_mm * nominal / RIM_MM[1], SLACK[1] * radius_mm * nominal / RIM_MM[0]
    found = [
        _measure(bgr, floor, spot, reference, limits)
        for floor in floors
        for spot in find_spots(bgr, floor, limits, lies=lies)
    ]
    return rivals(_unlike([s for s in found if s is not None]))


def _unlike(sightings: list[Sighting]) -> list[Sighting]:
    """Lower the score of circles that come in numbers: bolts, holes and dimples repeat, a coin doesn't."""
    scales = np.array([np.sqrt(abs(np.linalg.det(s.pose))) for s in sightings])
    places = np.array([s.corners_px.mean(axis=0) for s in sightings]).reshape(-1, 2)
    span = np.array([np.linalg.norm(s.corners_px[0] - s.corners_px[18]) for s in sightings])
    rated = []
    for number, sighting in enumerate(sightings):
        alike = np.abs(scales / scales[number] - 1) < ALIKE
        alike &= np.hypot(*(places - places[number]).T) > span[number]
        # Each tilt of the rim gives a sighting of its own.
        twins = int(alike.sum()) // 2
        rated.append(replace(sighting, score=sighting.score / (1 + max(0, twins - 1))))
    return rated


def find_spots(bgr: Image, floor: Floor, limits_mm: tuple[float, float], *, lies: Lies) -> list[_Spot]:
    """Let edges vote for the centres of circles, looking straight down on the plane."""
    view, to_plane = _straight_down(bgr, floor, min(1.03, ZONES[lies][1]) if lies != "bench" else BENCH_REACH)
    scale = float(to_plane[0, 0])
    gradient = Contrast.of(view).gradient
    units = np.clip(gradient * 200.0, -32000, 32000).astype(np.int16)
    thin = cv2.Canny(
        np.ascontiguousarray(units[..., 0]), np.ascontiguousarray(units[..., 1]), WEAK, STRONG, L2gradient=True
    )
    row, column = np.nonzero(thin)
    toward = gradient[row, column] / np.maximum(np.hypot(*gradient[row, column].T), 1e-9)[:, None]
    xy = np.stack([column, row], axis=-1).astype(np.float64)
    count = int(np.ceil(np.log(limits_mm[1] / limits_mm[0]) / np.log(RADIUS_STEP))) + 1
    spots: list[_Spot] = []
    for radius_mm in np.geomspace(*limits_mm, count):
        votes = _votes(xy, toward, radius_mm / scale, thin.shape)
        spots += _peaks(votes, to_plane, float(radius_mm))
    spots = [spot for spot in spots if _may_lie(spot, floor, ZONES[lies])]
    return _distinct(sorted(spots, key=lambda spot: spot.votes, reverse=True))


def _straight_down(bgr: Image, floor: Floor, reach: float) -> tuple[Image, FloatArray]:
    """Return a view square to the plane, and the affine map (3, 3) from its pixels to the plane, mm."""
    scale = 2 * floor.rim_radius_mm / VIEW_RIM_PX
    half = reach * floor.rim_radius_mm
    size = int(2 * half / scale)
    to_plane = np.array([[scale, 0.0, -half], [0.0, -scale, half], [0.0, 0.0, 1.0]])
    shrink = max(1, round(floor.px_per_mm * scale))
    small = bgr if shrink == 1 else cv2.resize(bgr, None, fx=1 / shrink, fy=1 / shrink, interpolation=cv2.INTER_AREA)
    seen = floor.reduced(shrink).homography @ to_plane
    flags = cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP
    view = cv2.warpPerspective(small, seen, (size, size), flags=flags, borderMode=cv2.BORDER_REPLICATE)
    return np.asarray(view), to_plane


def _votes(xy: FloatArray, toward: FloatArray, radius_px: float, shape: tuple[int, ...]) -> FloatArray:
    """Return how much of a full circle of this radius has its edge round each pixel."""
    height, width = shape[:2]
    ahead = np.vstack([xy + radius_px * toward, xy - radius_px * toward])
    at = np.rint(ahead).astype(np.intp)
    inside = (at >= 0).all(axis=1) & (at[:, 0] < width) & (at[:, 1] < height)
    flat = at[inside, 1] * width + at[inside, 0]
    counts = np.bincount(flat, minlength=height * width).reshape(height, width).astype(np.float32)
    window = max(3, round(0.16 * radius_px) | 1)
    gathered = cv2.boxFilter(counts, -1, (window, window), normalize=False)
    return np.asarray(gathered / (2 * np.pi * radius_px), np.float64)


def _peaks(votes: FloatArray, to_plane: FloatArray, radius_mm: float) -> list[_Spot]:
    row, column = np.nonzero(votes > LEAST_VOTES)
    order = np.argsort(-votes[row, column])[: CANDIDATES * 15]
    centres = to_pixels(to_plane, np.stack([column, row], axis=-1)[order].astype(np.float64))
    spots = [_Spot(at, radius_mm, float(value)) for at, value in zip(centres, votes[row, column][order], strict=True)]
    return _distinct(spots)


def _may_lie(spot: _Spot, floor: Floor, zone: tuple[float, float]) -> bool:
    return zone[0] < float(np.hypot(*spot.xy_mm)) / floor.rim_radius_mm < zone[1]


def _distinct(spots: list[_Spot]) -> list[_Spot]:
    kept: list[_Spot] = []
    for spot in spots:
        near = any(np.hypot(*(spot.xy_mm - k.xy_mm)) < 0.5 * max(k.radius_mm, spot.radius_mm) for k in kept)
        if not near and len(kept) < CANDIDATES:
            kept.append(spot)
    return kept


def _measure(
    bgr: Image, floor: Floor, spot: _Spot, reference: Reference, limits_mm: tuple[float, float]
) -> Sighting | None:
    read = read_profiles(bgr, floor, spot.xy_mm, spot.radius_mm)
    tried = [fit_round(read, r) for r in rounds(read, (limits_mm[0] - spot.radius_mm, limits_mm[1] - spot.radius_mm))]
    fits = [fit for fit in tried if fit is not None]
    picked = upper_edge(fits, spot.radius_mm)
    if picked is None or picked[0].support < LEAST_SUPPORT or len(picked[1].xy_px) < LEAST_RAYS * len(read.angle_rad):
        return None
    fine, edge = picked
    centre_mm, radius_mm = spot.xy_mm + fine.shift_mm, spot.radius_mm + fine.growth_mm
    figure = coin_figure(reference, doubt(fine, fits, spot.radius_mm))
    scale = radius_mm / float(figure.radius_mm or 1.0)
    pose = floor.homography @ np.array([[scale, 0, centre_mm[0]], [0, scale, centre_mm[1]], [0, 0, 1.0]])
    std_px = np.full(len(edge.xy_px), max(LEAST_STD_PX, fine.spread_px))
    samples = edge_samples(edge.xy_px, edge.bright_inside, std_px, np.zeros(len(std_px), np.intp))
    return Sighting(figure, samples, _outline(pose, reference), pose, fine.support)


def coin_figure(reference: Reference, doubt_share: float) -> Figure:
    """Return a coin as the circle that is seen: its published one less the rounding of its edge.

    Parameters
    ----------
    reference : Reference
    doubt_share : float
        Standard deviation, as a share of the size, of taking another circle for the edge.
    """
    radius_mm = reference.size_mm[0] / 2 - ROUNDED_MM
    std = float(np.hypot(reference.size_std_mm[0] / 2, ROUNDED_STD_MM)) / radius_mm
    return Figure(
        reference.kind,
        np.zeros((0, 3)),
        radius_mm,
        (float(np.hypot(std, doubt_share)), 0.0),
        reference.thickness_mm,
        reference.thickness_std_mm,
    )


def doubt(picked: Round, fits: Sequence[tuple[Round, RoundEdge]], radius_mm: float) -> float:
    """Return the standard deviation of the size, as a share, that comes of the circles beside the one picked."""
    shares = [0.0]
    for other, _ in fits:
        off = abs((radius_mm + other.growth_mm) / (radius_mm + picked.growth_mm) - 1.0)
        if RIVAL_SHARES[0] < off < RIVAL_SHARES[1]:
            shares.append(0.5 * off * min(1.0, _goodness(other) / _goodness(picked)) ** 2)
    return max(shares)


def upper_edge(fits: Sequence[tuple[Round, RoundEdge]], radius_mm: float) -> tuple[Round, RoundEdge] | None:
    """Pick the coin's upper edge from circles that run through its edges.

    It is the outermost good one, unless a circle just inside is as good and the outer one looks like the foot of the
    wall or the shadow: dark inside, or moved to one side.
    """
    if not fits:
        return None
    best = max(_goodness(fine) for fine, _ in fits)
    good = [fit for fit in fits if _goodness(fit[0]) >= NEARLY_BEST * best]
    good.sort(key=lambda fit: fit[0].growth_mm)
    while len(good) > 1 and _is_shadow(good[-1], good[-2], radius_mm):
        good.pop()
    return good[-1]


def _goodness(fine: Round) -> float:
    return fine.support / (1.0 + (fine.spread_px / SHARP_PX) ** 2)


def _is_shadow(outer: tuple[Round, RoundEdge], inner: tuple[Round, RoundEdge], radius_mm: float) -> bool:
    (out, out_edge), (in_, in_edge) = outer, inner
    near = radius_mm + in_.growth_mm > RING_SHARE * (radius_mm + out.growth_mm)
    if not near or _goodness(in_) < 0.7 * _goodness(out):
        return False
    dark, lighter = float(out_edge.bright_inside.mean()), float(in_edge.bright_inside.mean())
    moved = float(np.hypot(*(out.shift_mm - in_.shift_mm))) > MOVED_SHARE * radius_mm
    return (dark < -0.6 and lighter > -0.2) or (moved and dark < 0 and _goodness(in_) > _goodness(out))


def _outline(pose: FloatArray, reference: Reference) -> FloatArray:
    angle = np.arange(36) * (2 * np.pi / 36)
    return to_pixels(pose, reference.size_mm[0] / 2 * np.stack([np.cos(angle), np.sin(angle)], axis=-1))
