"""A coin of a named kind, told from the other circles on and round a rotor.

Its upper edge is one of many: the raised rim's inside, a core of another metal, the foot of its wall and its shadow
run beside it. All that is struck into it is concentric, wall and shadow are not; so the middle is where most edges fall
into few rings, and which of them is the edge is told by the others (`coin_look`).
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
import numpy.typing as npt

from vision.edges import Image
from vision.figure import Figure, Sighting
from vision.measurement import FloatArray
from vision.references.circles import (
    LOG_RATIOS,
    RAYS,
    Profiles,
    Round,
    RoundEdge,
    find_rings,
    fit_round,
    read_profiles,
)
from vision.references.coin_look import coin_look
from vision.references.floor import TILTS, Floor
from vision.references.parse import Lies, Reference
from vision.references.pieces import Contrast
from vision.references.sides import edge_samples, to_pixels
from vision.rotor import USUAL_DIAMETER_MM, USUAL_SPREAD

# The search looks straight down on the face, at so many pixels across the rim.
VIEW_RIM_PX = 480.0
BENCH_REACH = 1.6
# Where a coin's middle may be, in shares of the rim's radius. The hat's holes are round too: none of them on the face.
ZONES: dict[Lies, tuple[float, float]] = {"face": (0.58, 1.0), "hat": (0.0, 0.62), "bench": (1.0, BENCH_REACH)}
# The far side of a tilted face looks smaller than the plane's scale has it, if the tilt is taken wrongly.
SLACK = (0.92, 1.08)
RADIUS_STEP = 1.07
CANDIDATES = 20
LEAST_VOTES = 0.35
# Slopes of edges that vote; the fainter ones where those show nothing.
SLOPES = ((60.0, 140.0), (20.0, 50.0))
# A circle is looked at again from its own middle and at its own size.
PASSES = 3
# Sizes nearer to each other are one circle; how much likelier one must be for the other to be left out; how many
# circles are looked at closely.
APART, RIVAL_ODDS, MEASURED = 0.04, 3.0, 4
# How near, in radii, two circles are rivals for one coin; odds from which, and what share of their difference, count.
BESIDE, LEAST_RIVAL, RIVAL_SHARE = 0.2, 0.1, 0.5
# What an edge of mixed light leaves open of the radius, and of each of its points.
RADIUS_STD_PX, EDGE_STD_PX = 0.1, 0.2
ALIKE = 0.12
LEAST_RAYS, LEAST_SUPPORT = 0.4, 0.3
# What looks less like a coin is none: of 50 coins of the ``fitting`` set one looks so, of 23 photos without one 20.
LEAST_SCORE = 0.015
# Coins' edges are rounded by one to two tenths of a millimetre: of a bright coin the flat's end is seen, of a dark one
# rather where the ground begins. How far inside the published size these lie, read off 31 coins of the ``fitting`` set.
BRIGHT_ENDS_MM, DARK_ENDS_MM, ENDS_STD_MM = 0.12, 0.04, 0.07


@dataclass(frozen=True)
class Spot:
    """A circle on a plane, nominal mm, and what speaks for it: votes, or the logarithm of odds."""

    floor: Floor
    xy_mm: FloatArray
    radius_mm: float
    rating: float

    @property
    def outline_px(self) -> FloatArray:
        """Points round it in the photo."""
        return to_pixels(self.floor.homography, self.xy_mm + self.radius_mm * _around(36))

    def on(self, floor: Floor) -> "Spot":
        """Carry it to another plane."""
        if floor is self.floor:
            return self
        there = floor.to_plane(self.outline_px)
        middle = there.mean(axis=0)
        return Spot(floor, middle, float(np.hypot(*(there - middle).T).mean()), self.rating)


def find_coins(bgr: Image, floors: Sequence[Floor], reference: Reference, *, lies: Lies) -> list[Sighting]:
    """Find a coin.

    Parameters
    ----------
    bgr : (H, W, 3) ndarray of uint8
    floors : sequence of Floor
        Where the rotor's face may be: both tilts of its rim, for the likeliest lens first.
    reference : Reference
    lies : {"face", "bench", "hat"}

    Returns
    -------
    list of Sighting
        Best first.
    """
    limits = limits_mm(floors[0], reference)
    spots = [spot for floor in floors[:TILTS] for spot in find_spots(bgr, floor, limits, lies=lies)]
    seen = [c for spot in spots for floor in floors for c in _settled(bgr, spot.on(floor), reference)]
    likely = _unlike(_distinct(seen))[:MEASURED]
    measured = [
        _measure(bgr, _roundest(bgr, coin, floors), reference, (_likeness(coin, likely[0]), rivals_std(coin, likely)))
        for coin in likely
    ]
    return [sighting for sighting in measured if sighting is not None and sighting.score > LEAST_SCORE]


def limits_mm(floor: Floor, reference: Reference) -> tuple[float, float]:
    """Return the least and largest radius of a coin on the plane, nominal mm."""
    nominal, (least, most) = reference.size_mm[0] * floor.rim_radius_mm, floor.diameters_mm
    return SLACK[0] * nominal / most, SLACK[1] * nominal / least


def usual_odds(radius_mm: FloatArray, floor: Floor, reference: Reference) -> FloatArray:
    """Return the logarithms of odds that speak against coins beside which the rotor would have an odd size."""
    usual_mm = reference.size_mm[0] * floor.rim_radius_mm / USUAL_DIAMETER_MM
    odds: FloatArray = -0.5 * (np.log(radius_mm / usual_mm) / USUAL_SPREAD) ** 2
    return odds


def _settled(bgr: Image, spot: Spot, reference: Reference) -> list[Spot]:
    """Find the coin's middle and edge about a spot; the next likeliest edge as well."""
    for _ in range(PASSES):
        rated = edges_at(bgr, spot, reference)
        if not rated:
            return []
        spot = rated[0]
    return rated[:2] if len(rated) > 1 and rated[1].rating > spot.rating - RIVAL_ODDS else [spot]


def edges_at(bgr: Image, spot: Spot, reference: Reference) -> list[Spot]:
    """Return the coin's likely edges about the middles near a spot, likeliest first."""
    least_mm, most_mm = limits_mm(spot.floor, reference)
    radius_mm = spot.radius_mm * np.exp(LOG_RATIOS)
    usual = usual_odds(radius_mm, spot.floor, reference)
    usual = np.where((radius_mm > least_mm) & (radius_mm < most_mm), usual, -np.inf)
    found = []
    for rings in find_rings(read_profiles(bgr, spot.floor, spot.xy_mm, spot.radius_mm)):
        odds = coin_look().odds(rings) + usual
        best = int(odds.argmax())
        other = int(np.where(np.abs(LOG_RATIOS - LOG_RATIOS[best]) > APART, odds, -np.inf).argmax())
        middle = spot.xy_mm + rings.shift_mm
        found += [Spot(spot.floor, middle, float(radius_mm[i]), float(odds[i])) for i in (best, other)]
    return sorted((s for s in found if np.isfinite(s.rating)), key=lambda s: s.rating, reverse=True)


def _distinct(spots: Sequence[Spot]) -> list[Spot]:
    """Return different circles, likeliest first: planes of all tilts and lenses show the same ones."""
    kept: list[Spot] = []
    for spot in sorted(spots, key=lambda spot: spot.rating, reverse=True):
        if not any(_is_same(spot, other) for other in kept):
            kept.append(spot)
    return kept


def _is_same(one: Spot, other: Spot) -> bool:
    """Whether two circles of the photo have about the same place and size."""
    away, share = _gap(one, other)
    return away < APART and abs(np.log(share)) < APART


def _gap(one: Spot, other: Spot) -> tuple[float, float]:
    """Return how far apart two circles are in the photo, in radii, and how many times larger the first is."""
    here, there = one.outline_px, other.outline_px
    sizes = [float(np.sqrt(np.linalg.norm(o - o.mean(axis=0), axis=1).prod() ** (2 / len(o)))) for o in (here, there)]
    return float(np.linalg.norm(here.mean(axis=0) - there.mean(axis=0))) / sizes[1], sizes[0] / sizes[1]


def _unlike(spots: Sequence[Spot]) -> list[Spot]:
    """Rate circles that come in numbers lower: bolts, holes and dimples repeat, a coin doesn't."""
    rated = []
    for spot in spots:
        places: list[Spot] = []
        for other in spots:
            near = abs(np.log(other.radius_mm / spot.radius_mm)) < ALIKE
            if near and all(_gap(other, place)[0] > 1.0 for place in [spot, *places]):
                places.append(other)
        rated.append(replace(spot, rating=spot.rating - float(np.log1p(len(places)))))
    return sorted(rated, key=lambda spot: spot.rating, reverse=True)


def find_spots(bgr: Image, floor: Floor, limits: tuple[float, float], *, lies: Lies) -> list[Spot]:
    """Let edges vote for the centres of circles, looking straight down on the plane."""
    view, to_plane = _straight_down(bgr, floor, min(1.03, ZONES[lies][1]) if lies != "bench" else BENCH_REACH)
    gradient = Contrast.of(view).gradient
    for slopes in SLOPES:
        voted = _voted(gradient, to_plane, limits, slopes)
        spots = [Spot(floor, *spot) for spot in voted if _may_lie(spot[0], floor, ZONES[lies])]
        if spots:
            break
    return _apart(sorted(spots, key=lambda spot: spot.rating, reverse=True))


Slopes = npt.NDArray[np.float32]
_Vote = tuple[FloatArray, float, float]


def _voted(
    gradient: Slopes, to_plane: FloatArray, limits: tuple[float, float], slopes: tuple[float, float]
) -> list[_Vote]:
    """Return middles, mm, radii and votes of circles along edges of a view's gradient."""
    units = np.clip(gradient * 200.0, -32000, 32000).astype(np.int16)
    across, down = (np.ascontiguousarray(units[..., axis]) for axis in (0, 1))
    thin = cv2.Canny(across, down, *slopes, L2gradient=True)
    row, column = np.nonzero(thin)
    toward = gradient[row, column] / np.maximum(np.hypot(*gradient[row, column].T), 1e-9)[:, None]
    xy = np.stack([column, row], axis=-1).astype(np.float64)
    count = int(np.ceil(np.log(limits[1] / limits[0]) / np.log(RADIUS_STEP))) + 1
    found: list[_Vote] = []
    for radius_mm in np.geomspace(*limits, count):
        votes = _votes(xy, toward, radius_mm / float(to_plane[0, 0]), thin.shape)
        found += _peaks(votes, to_plane, float(radius_mm))
    return found


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


def _peaks(votes: FloatArray, to_plane: FloatArray, radius_mm: float) -> list[_Vote]:
    """Return the strongest votes, one to each place."""
    high = cv2.dilate(votes, np.ones((3, 3))) == votes
    row, column = np.nonzero((votes > LEAST_VOTES) & high)
    order = np.argsort(-votes[row, column])[: CANDIDATES * 15]
    centres = to_pixels(to_plane, np.stack([column, row], axis=-1)[order].astype(np.float64))
    return [(at, radius_mm, float(value)) for at, value in zip(centres, votes[row, column][order], strict=True)]


def _may_lie(xy_mm: FloatArray, floor: Floor, zone: tuple[float, float]) -> bool:
    return zone[0] < float(np.hypot(*xy_mm)) / floor.rim_radius_mm < zone[1]


def _apart(spots: Sequence[Spot]) -> list[Spot]:
    """Return the first of spots that lie within each other."""
    kept: list[Spot] = []
    for spot in spots:
        near = any(np.hypot(*(spot.xy_mm - k.xy_mm)) < 0.5 * max(k.radius_mm, spot.radius_mm) for k in kept)
        if not near and len(kept) < CANDIDATES:
            kept.append(spot)
    return kept


def _roundest(bgr: Image, coin: Spot, floors: Sequence[Floor]) -> Spot:
    """Return a coin on that plane, of its tilt and any lens, on which most of its edge lies on one circle."""

    def support(spot: Spot) -> float:
        fitted = _fitted(bgr, spot)[1]
        return 0.0 if fitted is None else fitted[0].support

    tilt = next(number for number, floor in enumerate(floors) if floor is coin.floor) % TILTS
    return max((coin.on(floor) for floor in [coin.floor, *floors[tilt::TILTS]]), key=support)


def _fitted(bgr: Image, coin: Spot) -> tuple[Profiles, tuple[Round, RoundEdge] | None]:
    """Fit the edge of a coin whose middle and size are known to some hundredths."""
    read = read_profiles(bgr, coin.floor, coin.xy_mm, coin.radius_mm)
    return read, fit_round(read, Round(np.zeros(2), 0.0, 0.0))


def _measure(bgr: Image, coin: Spot, reference: Reference, belief: tuple[float, float]) -> Sighting | None:
    """Return a coin as the scene's fit wants it; None where too little of its edge shows."""
    read, fitted = _fitted(bgr, coin)
    if fitted is None:
        return None
    fine, edge = fitted
    if fine.support < LEAST_SUPPORT or len(edge.xy_px) < LEAST_RAYS * RAYS:
        return None
    radius_mm = coin.radius_mm + fine.growth_mm
    likeness, rivals_std = belief
    doubts = rivals_std, ENDS_STD_MM / (reference.size_mm[0] / 2), RADIUS_STD_PX / (radius_mm * read.px_per_mm)
    figure = coin_figure(reference, float(np.linalg.norm(doubts)))
    pose = _pose(coin, fine, reference)
    std_px = np.full(len(edge.xy_px), float(np.hypot(EDGE_STD_PX, fine.spread_px)))
    ends_mm = np.where(edge.bright_inside > 0, BRIGHT_ENDS_MM, DARK_ENDS_MM)
    middle_px = to_pixels(pose, np.zeros((1, 2)))
    xy_px = middle_px + (1 + ends_mm / (reference.size_mm[0] / 2))[:, None] * (edge.xy_px - middle_px)
    # What changes its bright side along a circle is light and shadow, and tells nothing of the bloom.
    samples = edge_samples(xy_px, np.zeros(len(std_px)), std_px, np.zeros(len(std_px), np.intp))
    return Sighting(figure, samples, to_pixels(pose, reference.size_mm[0] / 2 * _around(36)), pose, likeness)


def rivals_std(coin: Spot, likely: Sequence[Spot]) -> float:
    """Return what it leaves open of the size, as a share, that another circle about the middle may be the edge."""
    doubts = [0.0]
    for other in likely:
        away, share = _gap(other, coin)
        odds = float(np.exp(min(0.0, other.rating - coin.rating)))
        if other is not coin and away < BESIDE and odds > LEAST_RIVAL:
            doubts.append(abs(np.log(share)) * RIVAL_SHARE * odds**0.5)
    return float(max(doubts))


def _pose(coin: Spot, fine: Round, reference: Reference) -> FloatArray:
    """Return the homography from the coin's own frame to pixels."""
    scale = (coin.radius_mm + fine.growth_mm) / (reference.size_mm[0] / 2)
    x, y = coin.xy_mm + fine.shift_mm
    pose: FloatArray = coin.floor.homography @ np.array([[scale, 0, x], [0, scale, y], [0, 0, 1.0]])
    return pose


def _likeness(coin: Spot, best: Spot) -> float:
    """Rate a coin 0 to 1 by its rings, beside the likeliest circle of the photo."""
    return float(np.exp(coin.rating - best.rating) / (1.0 + np.exp(coin_look().usual - best.rating)))


def coin_figure(reference: Reference, seen_std: float = 0.0) -> Figure:
    """Return a coin as the circle of its published size.

    Parameters
    ----------
    reference : Reference
    seen_std : float
        Standard deviation, as a share of the size, of where its edge was seen.
    """
    radius_mm = reference.size_mm[0] / 2
    std = float(np.hypot(reference.size_std_mm[0] / 2 / radius_mm, seen_std))
    return Figure(
        reference.kind,
        np.zeros((0, 3)),
        radius_mm,
        (std, 0.0),
        reference.thickness_mm,
        reference.thickness_std_mm,
    )


def _around(count: int) -> FloatArray:
    """Return points (N, 2) round a circle of radius 1."""
    angle = np.arange(count) * (2 * np.pi / count)
    return np.stack([np.cos(angle), np.sin(angle)], axis=-1)
