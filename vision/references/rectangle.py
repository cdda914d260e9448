"""Rectangles of known shape among clutter: proposed by straight edge pieces, judged by the edges along all four sides.

The search runs on a reduced photo and in the plane that the rotor's rim defines, where a card is a true rectangle. No
brightness is presumed: a side counts by standing out from what runs beside it, whichever way it steps.
"""

from dataclasses import dataclass, replace

import cv2
import numpy as np
import numpy.typing as npt

from vision.edges import Image
from vision.measurement import FloatArray
from vision.references.floor import Floor
from vision.references.pieces import MAX_PIECES, Contrast, Pieces
from vision.references.sides import to_pixels
from vision.shrink import shrunk

# The rim spans about so many pixels in the reduced photo: sides of a card then span 60 to 150.
RIM_SPAN_PX = 420.0
LEAST_SHARE = 0.18
# Of a cluttered bench's pieces those count that are among the longest where they lie: planks and scratches far away are
# longer than a card's sides.
NEARBY, MOST_PIECES = 6, 500
PARALLEL_RAD = np.radians(7.0)
# A few feet on each side sort out the most; then more, and what runs beside, tell the best from the second best.
ROUNDS = ((5, 500, 0.0), (20, 200, 3.0))
# So many are few enough to have their sides moved; of more, the best by fewer feet.
FEW, FEW_FEET = 6_000, 4
# Pieces lie about a pixel off, and so does every side that is put together from them. On the rotor, full of edges, a
# card's sides find others to move to, and are left alone.
SLACK_PX = np.array([-0.6, 0.0, 0.6])
# A side of which less than this share shows tells nothing.
LEAST_SEEN = 0.25
# How far beside a side, and on how many feet, colours are compared, and what share of the strongest step is enough.
PARTED_PX, PARTED_FEET, PARTED = 4, 20, 0.12
CORNER_MM = 4.5
# How far a patch's shape may differ, as a logarithm: tilt and lens are only roughly known.
ASPECT_SLACK = 0.14
KEEP = 24
MAX_RECTANGLES = 100_000

CORNER_SIGNS = np.array([[1.0, -1.0], [1.0, 1.0], [-1.0, 1.0], [-1.0, -1.0]])


@dataclass(frozen=True)
class Shape:
    """What to look for.

    Attributes
    ----------
    width_mm, height_mm : float
        True size.
    scale : (float, float)
        Least and greatest length of a nominal millimetre's worth: nominal size over true size.
    inside : bool, optional
        True on the rotor, False beside it (or partly under it), None anywhere.
    """

    width_mm: float
    height_mm: float
    scale: tuple[float, float]
    inside: bool | None = None


@dataclass(frozen=True)
class Rectangles:
    """Guesses on the floor's plane, best first.

    Attributes
    ----------
    centre_mm : (N, 2) ndarray
    turn_rad : (N,) ndarray
        Of the width's direction.
    scale : (N,) ndarray
        Nominal over true size.
    score : (N,) ndarray
        Mean edge strength along the sides that show, 0 to 1.
    """

    centre_mm: FloatArray
    turn_rad: FloatArray
    scale: FloatArray
    score: FloatArray

    def __len__(self) -> int:
        return len(self.score)

    def __getitem__(self, which: npt.NDArray[np.intp]) -> "Rectangles":
        return Rectangles(self.centre_mm[which], self.turn_rad[which], self.scale[which], self.score[which])

    def to_plane(self, number: int) -> FloatArray:
        """Return the similarity (3, 3) from one figure's frame, true mm, to the plane, nominal mm."""
        cos, sin = np.cos(self.turn_rad[number]), np.sin(self.turn_rad[number])
        s, (x, y) = self.scale[number], self.centre_mm[number]
        return np.array([[s * cos, -s * sin, x], [s * sin, s * cos, y], [0.0, 0.0, 1.0]])


def reduced(bgr: Image, floor: Floor) -> tuple[Image, float]:
    """Shrink a photo until the rim spans about ``RIM_SPAN_PX``; return it and by how much."""
    small = shrunk(bgr, 2 * floor.rim_radius_mm * floor.px_per_mm / RIM_SPAN_PX)
    return small, bgr.shape[1] / small.shape[1]


def side_pieces(pieces: Pieces, shape: Shape, floor: Floor) -> Pieces:
    """Return the pieces that can be sides of the shape, or parts of sides, longest first."""
    length = pieces.length_mm
    fits = (length >= LEAST_SHARE * shape.height_mm) & (length <= 1.1 * shape.scale[1] * shape.width_mm)
    far = np.hypot(*pieces.middle_mm.T) / floor.rim_radius_mm
    if shape.inside is not None:
        fits &= far < 1.03 if shape.inside else far > 0.97
    order = np.flatnonzero(fits)
    order = order[np.argsort(-length[order])]
    nearby = _rank_nearby(pieces.middle_mm[order], float(np.mean(shape.scale)) * shape.width_mm / 2)
    return pieces[order[(np.arange(len(order)) < MAX_PIECES) | (nearby < NEARBY)][:MOST_PIECES]]


def _rank_nearby(middle_mm: FloatArray, cell_mm: float) -> npt.NDArray[np.intp]:
    """Return how many earlier pieces (N,) lie in the same cell of a grid as each does."""
    _, cell = np.unique(np.floor(middle_mm / cell_mm).astype(int), axis=0, return_inverse=True)
    by_cell = np.argsort(cell, kind="stable")
    first = np.searchsorted(cell[by_cell], cell[by_cell])
    rank = np.empty(len(cell), np.intp)
    rank[by_cell] = np.arange(len(cell)) - first
    return rank


def propose(pieces: Pieces, shape: Shape) -> Rectangles:
    """Build rectangles on pairs of parallel pieces at a possible distance and a third across, or at their ends."""
    first, second = np.triu_indices(len(pieces.turn_rad), 1)
    bend = _bend(pieces.turn_rad[first] - pieces.turn_rad[second])
    near = np.abs(bend) < PARALLEL_RAD
    first, second, bend = first[near], second[near], bend[near]
    weight = pieces.length_mm[second] / (pieces.length_mm[first] + pieces.length_mm[second])
    turn = pieces.turn_rad[first] - weight * bend
    along, across = _axes(turn)
    apart = pieces.middle_mm[second] - pieces.middle_mm[first]
    gap = np.einsum("ni,ni->n", apart, across)
    slide = np.abs(np.einsum("ni,ni->n", apart, along))
    parts = []
    for short_sides in (False, True):
        width, height = (shape.height_mm, shape.width_mm) if short_sides else (shape.width_mm, shape.height_mm)
        scale = np.abs(gap) / height
        fits = (scale >= shape.scale[0]) & (scale <= shape.scale[1]) & (slide < scale * width)
        parts.append(
            _closed(pieces, _Pairs(first[fits], second[fits], turn[fits], scale[fits]), width, short_sides=short_sides)
        )
    return Rectangles(*(np.concatenate([getattr(p, name) for p in parts]) for name in Rectangles.__annotations__))


def from_patches(corners_px: FloatArray, shape: Shape, floor: Floor) -> Rectangles:
    """Return the patches, given by their corners (N, 4, 2) in pixels, that are nearly of the shape on the plane."""
    corners = floor.to_plane(corners_px.reshape(-1, 2)).reshape(-1, 4, 2)
    run = np.roll(corners, -1, axis=1) - corners
    # Opposite sides together: the first and third, the second and fourth, whichever are the longer.
    both = run[:, :2] - run[:, 2:]
    length = np.hypot(both[..., 0], both[..., 1]) / 2
    long = length.argmax(axis=1)
    along, every = both[np.arange(len(both)), long], np.arange(len(both))
    width, height = length[every, long], length[every, 1 - long]
    scale = np.sqrt(width * height / (shape.width_mm * shape.height_mm))
    aspect = width / np.maximum(height, 1e-9) * shape.height_mm / shape.width_mm
    fits = (np.abs(np.log(aspect)) < ASPECT_SLACK) & (scale >= shape.scale[0]) & (scale <= shape.scale[1])
    turn = np.arctan2(along[:, 1], along[:, 0])
    return Rectangles(corners.mean(axis=1), turn, scale, np.zeros(len(scale)))[np.flatnonzero(fits)]


@dataclass(frozen=True)
class _Pairs:
    first: npt.NDArray[np.intp]
    second: npt.NDArray[np.intp]
    turn: FloatArray
    scale: FloatArray


def _closed(pieces: Pieces, pairs: _Pairs, width_mm: float, *, short_sides: bool) -> Rectangles:
    """Close each pair of parallel sides at one end by a piece across, or by an end of its longer piece."""
    along, across = _axes(pairs.turn)
    middle = (pieces.middle_mm[pairs.first] + pieces.middle_mm[pairs.second]) / 2
    length = pairs.scale * width_mm
    gap = np.abs(np.einsum("ni,ni->n", pieces.middle_mm[pairs.second] - pieces.middle_mm[pairs.first], across))
    # (pairs, pieces): is the piece square to the pair, between its sides and within reach?
    square = np.abs(_bend(pieces.turn_rad[None, :] - pairs.turn[:, None] + np.pi / 2)) < PARALLEL_RAD
    to_piece = pieces.middle_mm[None, :, :] - middle[:, None, :]
    at = np.einsum("nki,ni->nk", to_piece, along)
    beside = np.abs(np.einsum("nki,ni->nk", to_piece, across))
    square &= (beside < 0.55 * gap[:, None]) & (np.abs(at) < length[:, None])
    square &= pieces.length_mm[None, :] < 1.1 * gap[:, None]
    pair, piece = np.nonzero(square)
    ends = [(pair, at[pair, piece])]
    for member in (pairs.first, pairs.second):
        own = np.einsum("ni,ni->n", pieces.middle_mm[member] - middle, along)
        every = np.arange(len(own))
        # Pieces stop short of a rounded corner.
        ends += [(every, own - pieces.length_mm[member] / 2), (every, own + pieces.length_mm[member] / 2)]
    chosen = np.concatenate([pair for pair, _ in ends] * 2)
    place = np.concatenate([place for _, place in ends])
    place = np.concatenate([place + length[chosen[: len(place)]] / 2, place - length[chosen[: len(place)]] / 2])
    centre = middle[chosen] + place[:, None] * along[chosen]
    turn = pairs.turn[chosen] + (np.pi / 2 if short_sides else 0.0)
    return Rectangles(centre, turn, pairs.scale[chosen], np.zeros(len(chosen)))


def judge(
    guesses: Rectangles, shape: Shape, contrast: Contrast, floor: Floor, *, paper: Image | None = None
) -> Rectangles:
    """Score guesses by how their sides stand out, drop those that lie where they can't, and repeats; best first.

    Of a plain sheet, ``paper`` is the reduced photo, and its sides must part it from something else.
    """
    guesses = guesses[np.flatnonzero(_may_lie(guesses, shape, floor))[:MAX_RECTANGLES]]
    if len(guesses) > FEW:
        clear = _score(guesses, shape, contrast, floor, (FEW_FEET, 0.0))
        guesses = guesses[np.argpartition(-clear, FEW)[:FEW]]
    for feet, shortlist, beside_px in ROUNDS:
        if shape.inside is False:
            guesses = _snapped(guesses, shape, contrast, floor, feet)
        guesses = replace(guesses, score=_score(guesses, shape, contrast, floor, (feet, beside_px)))
        guesses = guesses[np.argsort(-guesses.score)[:shortlist]]
    if paper is not None:
        guesses = _parted(guesses, shape, paper, floor)
        guesses = guesses[np.argsort(-guesses.score)]
    return _distinct(guesses, shape)


def _snapped(guesses: Rectangles, shape: Shape, contrast: Contrast, floor: Floor, count: int) -> Rectangles:
    """Move guesses by the pixel or so by which their sides, each by itself, stand out best."""
    here, normal_px, on_plane = _feet(guesses, shape, floor, count)
    clear = np.stack([np.abs(contrast.across(here + off * normal_px, normal_px)).mean(axis=2) for off in SLACK_PX])
    outward_mm = SLACK_PX[clear.argmax(axis=0)] / floor.px_per_mm
    shows = _seen(on_plane, shape, floor).mean(axis=2) > LEAST_SEEN
    # A side that is hidden goes where the one across from it goes.
    right, top, left, bottom = np.where(shows, outward_mm, -np.roll(outward_mm, 2, axis=1)).T
    along, across = _axes(guesses.turn_rad)
    centre = guesses.centre_mm + (right - left)[:, None] / 2 * along + (top - bottom)[:, None] / 2 * across
    grown = (right + left) / shape.width_mm + (top + bottom) / shape.height_mm
    return replace(guesses, centre_mm=centre, scale=guesses.scale + grown / 2)


def _may_lie(guesses: Rectangles, shape: Shape, floor: Floor) -> npt.NDArray[np.bool_]:
    far = np.hypot(*guesses.centre_mm.T)
    if shape.inside is None:
        return np.ones(len(far), np.bool_)
    return np.asarray(far < floor.rim_radius_mm if shape.inside else far > 0.5 * floor.rim_radius_mm)


def _score(
    guesses: Rectangles, shape: Shape, contrast: Contrast, floor: Floor, manner: tuple[int, float]
) -> FloatArray:
    """Return the mean over the sides of how clearly each stands out, 0 to 1.

    ``manner`` is the number of feet on each side, and how far beside it its surroundings are looked at; 0 spares that.
    """
    count, beside_px = manner
    here, normal_px, on_plane = _feet(guesses, shape, floor, count)
    stands_out = np.abs(contrast.across(here, normal_px))
    for away in (beside_px, -beside_px) if beside_px else ():
        stands_out = stands_out - 0.25 * np.abs(contrast.across(here + away * normal_px, normal_px))
    stands_out = np.clip(stands_out, 0, 1)
    seen = _seen(on_plane, shape, floor)
    share = seen.mean(axis=2)
    side = (stands_out * seen).sum(axis=2) / np.maximum(seen.sum(axis=2), 1)
    shows = share > LEAST_SEEN
    # The weakest side that shows counts extra: three good sides and nothing is how a pattern looks.
    weakest = np.where(shows, side, 1.0).min(axis=1)
    total = (side * share).sum(axis=1) / np.maximum(share.sum(axis=1), 1e-9)
    enough = (shows.sum(axis=1) >= 3) & (share.sum(axis=1) > 1.2)
    return np.where(enough, (2 * total + weakest) / 3, 0.0)


def _parted(guesses: Rectangles, shape: Shape, bgr: Image, floor: Floor) -> Rectangles:
    """Lower the scores of guesses with a side that parts like from like: what is ruled on paper is not its edge."""
    here, normal_px, on_plane = _feet(guesses, shape, floor, PARTED_FEET)
    seen = _seen(on_plane, shape, floor)
    soft = cv2.blur(bgr, (PARTED_PX, PARTED_PX))
    outside, inside = (_colours(soft, here + side * PARTED_PX * normal_px) for side in (1, -1))
    step = ((outside - inside) * seen[..., None]).sum(axis=2) / np.maximum(seen.sum(axis=2), 1)[..., None]
    strength = np.linalg.norm(step, axis=2)
    shows = seen.mean(axis=2) > LEAST_SEEN
    strongest = np.where(shows, strength, 0.0).max(axis=1)
    weakest = np.where(shows, strength, np.inf).min(axis=1)
    return replace(guesses, score=guesses.score * np.clip(weakest / (PARTED * strongest + 1e-9), 0.0, 1.0))


def _colours(bgr: Image, xy_px: FloatArray) -> FloatArray:
    """Return colours (..., 3) at points, those of the border beyond it."""
    height, width = bgr.shape[:2]
    column = np.clip(np.rint(xy_px[..., 0]), 0, width - 1).astype(np.intp)
    row = np.clip(np.rint(xy_px[..., 1]), 0, height - 1).astype(np.intp)
    return np.asarray(bgr[row, column], np.float64)


def _seen(on_plane: FloatArray, shape: Shape, floor: Floor) -> FloatArray:
    """Return 1 for feet that the rotor does not hide, 0 for others."""
    if shape.inside is not False:
        return np.ones(on_plane.shape[:-1])
    return (np.hypot(on_plane[..., 0], on_plane[..., 1]) > 1.02 * floor.rim_radius_mm).astype(np.float64)


def _feet(guesses: Rectangles, shape: Shape, floor: Floor, count: int) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return points (N, 4, count, 2) on the sides, in pixels and on the plane, and unit normals (N, 4, 1, 2) in pixels.

    Only corners are carried through the homography: between them a side is straight, and how evenly its feet lie
    does not matter.
    """
    half = np.array([shape.width_mm, shape.height_mm]) / 2
    along, across = _axes(guesses.turn_rad)
    turn = np.stack([along, across], axis=-1) * guesses.scale[:, None, None]
    corners = np.einsum("nij,kj->nki", turn, CORNER_SIGNS * half) + guesses.centre_mm[:, None]
    ends_px = to_pixels(floor.homography, corners.reshape(-1, 2)).reshape(corners.shape)
    run_px = np.roll(ends_px, -1, axis=1) - ends_px
    length_px = np.maximum(np.hypot(run_px[..., 0], run_px[..., 1]), 1e-9)
    normal_px = np.stack([-run_px[..., 1], run_px[..., 0]], axis=-1) / length_px[..., None]
    sides_mm = np.array([2 * half[1], 2 * half[0], 2 * half[1], 2 * half[0]])
    margin = np.minimum(CORNER_MM, 0.15 * sides_mm) / sides_mm
    share = (margin[:, None] + (1 - 2 * margin[:, None]) * np.linspace(0, 1, count))[None, :, :, None]
    run_mm = np.roll(corners, -1, axis=1) - corners
    on_plane = corners[:, :, None] + share * run_mm[:, :, None]
    return ends_px[:, :, None] + share * run_px[:, :, None], normal_px[:, :, None], on_plane


def _distinct(ranked: Rectangles, shape: Shape) -> Rectangles:
    """Keep the best of guesses that nearly agree, ``KEEP`` at most."""
    away = np.hypot(*(ranked.centre_mm[:, None] - ranked.centre_mm[None]).transpose(2, 0, 1))
    bend = np.abs(_bend(ranked.turn_rad[:, None] - ranked.turn_rad[None]))
    grown = np.abs(ranked.scale[:, None] / ranked.scale[None] - 1)
    close = (away < 0.06 * shape.width_mm) & (bend < np.radians(5)) & (grown < 0.05)
    kept: list[int] = []
    for number in np.flatnonzero(ranked.score > 0):
        if len(kept) < KEEP and not close[number, kept].any():
            kept.append(int(number))
    return ranked[np.array(kept, np.intp)]


def _axes(turn_rad: FloatArray) -> tuple[FloatArray, FloatArray]:
    cos, sin = np.cos(turn_rad), np.sin(turn_rad)
    return np.stack([cos, sin], axis=-1), np.stack([-sin, cos], axis=-1)


def _bend(angle_rad: FloatArray) -> FloatArray:
    """Fold an angle between undirected lines to -pi/2..pi/2."""
    folded: FloatArray = (angle_rad + np.pi / 2) % np.pi - np.pi / 2
    return folded
