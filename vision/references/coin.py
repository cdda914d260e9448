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
from vision.references.circles import CHANCE, RAYS, Profiles, Round, RoundEdge, fit_round, read_profiles, rounds
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
# A circle counts as good beside the best.
NEARLY_BEST = 0.7
# The shadow at a coin's foot is narrower than this share of its radius; what is dark inside ends a shadow, if the
# circle before it is nearly as good.
SHADOW_SHARE, AS_GOOD, DARKER, PLAIN = 0.11, 0.75, 0.3, 0.5
HALF_SHOWN = 0.3
# The circle is looked at again from its own centre, where its edges are square to the rays.
PASSES = 2
# What an edge of mixed light leaves open of the radius.
RADIUS_STD_PX = 0.2
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


@dataclass(frozen=True)
class _Circles:
    """What was seen round a spot: edges, the circles through them, the coin's, and where that has its middle."""

    read: Profiles
    fits: list[tuple[Round, RoundEdge]]
    picked: tuple[Round, RoundEdge]
    spot: _Spot


def _circles(bgr: Image, floor: Floor, spot: _Spot, limits_mm: tuple[float, float]) -> _Circles | None:
    read = read_profiles(bgr, floor, spot.xy_mm, spot.radius_mm)
    growths = limits_mm[0] - spot.radius_mm, limits_mm[1] - spot.radius_mm
    fits = [fit for fit in (fit_round(read, each) for each in rounds(read, growths)) if fit is not None]
    picked = upper_edge(fits, spot.radius_mm)
    if picked is None:
        return None
    fine = picked[0]
    return _Circles(read, fits, picked, _Spot(spot.xy_mm + fine.shift_mm, spot.radius_mm + fine.growth_mm, spot.votes))


def _measure(
    bgr: Image, floor: Floor, spot: _Spot, reference: Reference, limits_mm: tuple[float, float]
) -> Sighting | None:
    seen = _circles(bgr, floor, spot, limits_mm)
    for _ in range(PASSES - 1):
        if seen is None:
            return None
        spot = seen.spot
        seen = _circles(bgr, floor, spot, limits_mm)
    if seen is None:
        return None
    read, fits, picked = seen.read, seen.fits, seen.picked
    last, spot = spot, seen.spot
    if picked[0].support < LEAST_SUPPORT or len(picked[1].xy_px) < LEAST_RAYS * RAYS:
        return None
    fine, edge = picked
    centre_mm, radius_mm = spot.xy_mm, spot.radius_mm
    radius_px = radius_mm * read.px_per_mm
    doubt_share = float(np.hypot(doubt(picked, fits, last.radius_mm), RADIUS_STD_PX / radius_px))
    figure = coin_figure(reference, doubt_share)
    scale = radius_mm / float(figure.radius_mm or 1.0)
    pose = floor.homography @ np.array([[scale, 0, centre_mm[0]], [0, scale, centre_mm[1]], [0, 0, 1.0]])
    std_px = np.full(len(edge.xy_px), max(LEAST_STD_PX, fine.spread_px))
    # What changes its bright side along a circle is light and shadow, and tells nothing of the bloom.
    samples = edge_samples(edge.xy_px, np.zeros(len(std_px)), std_px, np.zeros(len(std_px), np.intp))
    return Sighting(figure, samples, _outline(pose, reference), pose, _likeness(fits))


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


def doubt(picked: tuple[Round, RoundEdge], fits: Sequence[tuple[Round, RoundEdge]], radius_mm: float) -> float:
    """Return the standard deviation of the size, as a share, that comes of the circles beside the one picked."""
    shares = [0.0]
    for other in fits:
        off = abs((radius_mm + other[0].growth_mm) / (radius_mm + picked[0].growth_mm) - 1.0)
        if RIVAL_SHARES[0] < off < RIVAL_SHARES[1] and not _is_plain_shadow(other, picked):
            shares.append(0.5 * off * min(1.0, other[0].support / picked[0].support) ** 2)
    return max(shares)


def upper_edge(fits: Sequence[tuple[Round, RoundEdge]], radius_mm: float) -> tuple[Round, RoundEdge] | None:
    """Pick the coin's upper edge from circles that run through its edges.

    It is the outermost good one, unless a circle just inside is as good and the outer one is where the shadow at the
    coin's foot ends: dark inside.
    """
    if not fits:
        return None
    best = max(fine.support for fine, _ in fits)
    good = [fit for fit in fits if fit[0].support >= NEARLY_BEST * best]
    good.sort(key=lambda fit: fit[0].growth_mm)
    while len(good) > 1 and _is_shadow(good[-1], good[-2], radius_mm):
        good.pop()
    return good[-1]


def _is_shadow(outer: tuple[Round, RoundEdge], inner: tuple[Round, RoundEdge], radius_mm: float) -> bool:
    (out, out_edge), (in_, _) = outer, inner
    near = out.growth_mm - in_.growth_mm < SHADOW_SHARE * radius_mm
    return near and in_.support >= AS_GOOD * out.support and float(out_edge.bright_inside.mean()) < -DARKER


def _is_plain_shadow(outer: tuple[Round, RoundEdge], edge: tuple[Round, RoundEdge]) -> bool:
    """Whether darkness plainly begins at the edge and ends at the outer circle."""
    begins, ends = float(edge[1].bright_inside.mean()), float(outer[1].bright_inside.mean())
    return outer[0].growth_mm > edge[0].growth_mm and begins > PLAIN and ends < -PLAIN


def _likeness(fits: Sequence[tuple[Round, RoundEdge]]) -> float:
    """Rate a coin's rings together, 0 to 1: many sharp ones about one centre, on a plane of the right tilt."""
    shown = sum(max(0.0, fine.support - CHANCE) ** 2 for fine, _ in fits)
    return shown / (shown + HALF_SHOWN)


def _outline(pose: FloatArray, reference: Reference) -> FloatArray:
    angle = np.arange(36) * (2 * np.pi / 36)
    return to_pixels(pose, reference.size_mm[0] / 2 * np.stack([np.cos(angle), np.sin(angle)], axis=-1))
