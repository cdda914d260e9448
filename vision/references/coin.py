"""A coin of a named kind, told from the other circles on and round a rotor.

Its upper edge is one of many: the raised rim's inside, a core of another metal, the foot of its wall and its shadow
run beside it. Edges vote for circles; which of them are coins, and where the coin's edge runs, tells a net that sees
all the edges together.
"""

from collections.abc import Sequence
from dataclasses import dataclass, replace

import cv2
import numpy as np
import numpy.typing as npt

from vision.edges import Image
from vision.ellipse import Ellipse
from vision.figure import Figure, Sighting
from vision.measurement import FloatArray
from vision.outline_look import MOST_LOOKS, shipped_net
from vision.references.floor import TILTS, Floor
from vision.references.parse import Lies, Reference
from vision.references.pieces import Contrast
from vision.references.sides import edge_samples, to_pixels
from vision.rotor import USUAL_DIAMETER_MM, USUAL_SPREAD
from vision.shrink import for_steps

# The search looks straight down on the face, at so many pixels across the rim.
VIEW_RIM_PX = 480.0
BENCH_REACH = 1.6
# Where a coin's middle may be, in shares of the rim's radius. The hat's holes are round too: none of them on the face.
ZONES: dict[Lies, tuple[float, float]] = {"face": (0.58, 1.0), "hat": (0.0, 0.62), "bench": (1.0, BENCH_REACH)}
# The far side of a tilted face looks smaller than the plane's scale has it, if the tilt is taken wrongly.
SLACK = (0.92, 1.08)
RADIUS_STEP = 1.07
CANDIDATES = 20
# Slopes of edges that vote, and the share of a full circle that must; fainter and fewer ones where those lead to
# nothing that is surely a coin.
VOTES = ((60.0, 140.0, 0.35), (20.0, 50.0, 0.25))
# Circles nearer to each other are one, in place and size, over the radius; looks at each, how many are looked at more
# often, and measured.
APART, FIRST_LOOKS, FOLLOWED, MEASURED = 0.04, 2, 6, 4
# What the net's evidence counts for, and where it leaves open whether there is a coin.
WEIGHT, EVEN_EVIDENCE = 3.0, 2.2
# What looks less like a coin is none; a likelier one than that needs no more search.
LEAST_SCORE, SURE_RATING = 0.05, 1.5
# How well the net tells a coin's size, as a share and in pixels, and its edge's place: of 32 coins that it doesn't know
# the sizes are off by 0.5 % (root mean square), by 1.5 % where the coin is 22 pixels wide. Coins that look less like
# those it knows are told less well: two real ones on paper, rated 2 and 3, came out 3.0 % small and 1.4 % large.
SIZE_STD, SIZE_STD_PX, EDGE_STD_PX = 0.0025, 0.12, 0.5
CLEAR_RATING, LESS_SURE, MOST_UNSURE = 4.2, 1.2, 2.0
POINTS = 64


Slopes = npt.NDArray[np.float32]
Votes = tuple[float, float, float]


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
        return to_pixels(self.floor.homography, self.xy_mm + self.radius_mm * _around(POINTS))


@dataclass(frozen=True)
class Coin:
    """A coin's upper edge in the photo, and the natural logarithm of the odds that it is one."""

    ellipse: Ellipse
    rating: float

    def on(self, floor: Floor) -> tuple[FloatArray, float, float]:
        """Return its middle (2,) and radius on a plane, nominal mm, and how far from round it is there, a share."""
        there = floor.to_plane(self.ellipse.points(POINTS)[0])
        middle = there.mean(axis=0)
        away = np.hypot(*(there - middle).T)
        return middle, float(away.mean()), float(away.std() / away.mean())

    def roundest_on(self, floors: Sequence[Floor]) -> Floor:
        """Choose the plane on which it is roundest."""
        return min(floors, key=lambda floor: self.on(floor)[2])


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
    likely: list[Coin] = []
    for votes in VOTES:
        likely = _distinct([*likely, *_likely_coins(bgr, floors, reference, lies, votes)])[:MEASURED]
        if likely and likely[0].rating > SURE_RATING:
            break
    sightings = [sighting_of(coin, floors, reference, _likeness(coin, likely)) for coin in likely]
    return [sighting for sighting in sightings if sighting.score > LEAST_SCORE]


def _likely_coins(bgr: Image, floors: Sequence[Floor], reference: Reference, lies: Lies, votes: Votes) -> list[Coin]:
    """Look at circles that so many edges vote for, and more closely at the likeliest."""
    limits = limits_mm(floors[0], reference)
    spots = [spot for floor in floors[:TILTS] for spot in find_spots(bgr, floor, limits, lies=lies, votes=votes)]
    circles = _distinct([Coin(Ellipse.through(spot.outline_px), spot.rating) for spot in spots])
    near = _distinct([coin_beside(bgr, coin.ellipse, FIRST_LOOKS) for coin in circles])[:FOLLOWED]
    seen = [coin_beside(bgr, coin.ellipse) for coin in near]
    return [_of_usual_size(coin, floors, reference) for coin in seen]


def coin_beside(bgr: Image, circle: Ellipse, looks: int = MOST_LOOKS) -> Coin:
    """Find a coin's upper edge beside a circle, within a third of its radius."""
    ellipse, evidence = shipped_net("coin").ellipse_beside(bgr, circle, looks)
    return Coin(ellipse, WEIGHT * (evidence - EVEN_EVIDENCE))


def limits_mm(floor: Floor, reference: Reference) -> tuple[float, float]:
    """Return the least and largest radius of a coin on the plane, nominal mm."""
    nominal, (least, most) = reference.size_mm[0] * floor.rim_radius_mm, floor.diameters_mm
    return SLACK[0] * nominal / most, SLACK[1] * nominal / least


def _of_usual_size(coin: Coin, floors: Sequence[Floor], reference: Reference) -> Coin:
    """Rate a coin lower beside which the rotor would have an odd size, and one beside which it can't be."""
    floor = coin.roundest_on(floors)
    least_mm, most_mm = limits_mm(floor, reference)
    _, radius_mm, _ = coin.on(floor)
    if not least_mm < radius_mm < most_mm:
        return replace(coin, rating=-np.inf)
    usual_mm = reference.size_mm[0] * floor.rim_radius_mm / USUAL_DIAMETER_MM
    return replace(coin, rating=coin.rating - 0.5 * float(np.log(radius_mm / usual_mm) / USUAL_SPREAD) ** 2)


def _distinct(coins: Sequence[Coin]) -> list[Coin]:
    """Return different circles, likeliest first: planes of all tilts and lenses show the same ones."""
    kept: list[Coin] = []
    for coin in sorted(coins, key=lambda coin: coin.rating, reverse=True):
        if np.isfinite(coin.rating) and not any(_is_same(coin.ellipse, other.ellipse) for other in kept):
            kept.append(coin)
    return kept


def _is_same(one: Ellipse, other: Ellipse) -> bool:
    """Whether two circles of the photo have about the same place and size."""
    away = float(np.linalg.norm(one.centre_px - other.centre_px))
    grown = float(np.log(one.half_axes_px.prod() / other.half_axes_px.prod())) / 2
    return away < APART * other.radius_px and abs(grown) < APART


def find_spots(
    bgr: Image, floor: Floor, limits: tuple[float, float], *, lies: Lies, votes: Votes = VOTES[0]
) -> list[Spot]:
    """Let edges vote for the centres of circles, looking straight down on the plane."""
    view, to_plane = _straight_down(bgr, floor, min(1.03, ZONES[lies][1]) if lies != "bench" else BENCH_REACH)
    voted = _voted(Contrast.of(view).gradient, to_plane, limits, votes)
    spots = [Spot(floor, *spot) for spot in voted if _may_lie(spot[0], floor, ZONES[lies])]
    return _apart(sorted(spots, key=lambda spot: spot.rating, reverse=True))


_Vote = tuple[FloatArray, float, float]


def _voted(gradient: Slopes, to_plane: FloatArray, limits: tuple[float, float], votes: Votes) -> list[_Vote]:
    """Return middles, mm, radii and votes of circles along edges of a view's gradient."""
    units = np.clip(gradient * 200.0, -32000, 32000).astype(np.int16)
    across, down = (np.ascontiguousarray(units[..., axis]) for axis in (0, 1))
    thin = cv2.Canny(across, down, *votes[:2], L2gradient=True)
    row, column = np.nonzero(thin)
    toward = gradient[row, column] / np.maximum(np.hypot(*gradient[row, column].T), 1e-9)[:, None]
    xy = np.stack([column, row], axis=-1).astype(np.float64)
    count = int(np.ceil(np.log(limits[1] / limits[0]) / np.log(RADIUS_STEP))) + 1
    found: list[_Vote] = []
    for radius_mm in np.geomspace(*limits, count):
        shares = _votes(xy, toward, radius_mm / float(to_plane[0, 0]), thin.shape)
        found += _peaks(shares, votes[2], to_plane, float(radius_mm))
    return found


def _straight_down(bgr: Image, floor: Floor, reach: float) -> tuple[Image, FloatArray]:
    """Return a view square to the plane, and the affine map (3, 3) from its pixels to the plane, mm."""
    scale = 2 * floor.rim_radius_mm / VIEW_RIM_PX
    half = reach * floor.rim_radius_mm
    size = int(2 * half / scale)
    to_plane = np.array([[scale, 0.0, -half], [0.0, -scale, half], [0.0, 0.0, 1.0]])
    small, factor = for_steps(bgr, max(1, round(floor.px_per_mm * scale)))
    seen = floor.reduced(factor).homography @ to_plane
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


def _peaks(votes: FloatArray, least: float, to_plane: FloatArray, radius_mm: float) -> list[_Vote]:
    """Return the strongest votes, one to each place."""
    high = cv2.dilate(votes, np.ones((3, 3))) == votes
    row, column = np.nonzero((votes > least) & high)
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


def sighting_of(coin: Coin, floors: Sequence[Floor], reference: Reference, likeness: float) -> Sighting:
    """Return a coin as the scene's fit wants it, on the plane on which it is roundest."""
    floor = coin.roundest_on(floors)
    (x, y), radius_mm, _ = coin.on(floor)
    scale = radius_mm / (reference.size_mm[0] / 2)
    pose = floor.homography @ np.array([[scale, 0, x], [0, scale, y], [0, 0, 1.0]])
    xy_px = coin.ellipse.points(POINTS)[0]
    less_sure = float(np.exp(np.clip((CLEAR_RATING - coin.rating) / LESS_SURE, 0.0, MOST_UNSURE)))
    figure = coin_figure(reference, float(np.hypot(SIZE_STD * less_sure, SIZE_STD_PX / coin.ellipse.radius_px)))
    # Light and shadow have had their say in the net: no bloom is told by what it sees.
    samples = edge_samples(xy_px, np.zeros(POINTS), np.full(POINTS, EDGE_STD_PX), np.zeros(POINTS, np.intp))
    return Sighting(figure, samples, xy_px, pose, likeness)


def _likeness(coin: Coin, likely: Sequence[Coin]) -> float:
    """Rate a coin 0 to 1, beside the other circles of the photo."""
    odds = np.exp(np.clip([other.rating for other in likely], -30, 30))
    return float(np.exp(np.clip(coin.rating, -30, 30)) / (1.0 + odds.sum()))


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
