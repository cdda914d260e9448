"""Round marks on the ring: holes, dimples and what looks like them; and how regularly they stand."""

from dataclasses import dataclass, field, replace

import cv2
import numpy as np

from vision.cuts import CELL, COUNTED, Cuts
from vision.measurement import FloatArray
from vision.ring import Map, Mask, Ring, wrapped

# A cell is a spot's where it is likelier one than not; so many cells are the least, and no spot is twice as long as
# wide, seen on the conformal map.
LEAST_SURE, LEAST_CELLS, LEAST_ROUND = 0.5, 8, 0.5
# Wider than any spot, in cells.
SEAM = 24
FOLDS = range(4, 61)
MATCH = 4.0
TRIED = 5
SOLID = 0.25
FILLED = 0.5


@dataclass(frozen=True, eq=False)
class Spots:
    """Round marks, one row each.

    Attributes
    ----------
    at : (N, 2) ndarray
        ``(column, row)`` on the unwrapped ring.
    radius : (N,) ndarray
        In columns, of its patch of cells: wider than what was cut.
    cut_radius : (N,) ndarray
        In columns, of as many cells as it truly fills.
    weight : (N,) ndarray
        Mean probability that its cells lie in a hole or a dimple.
    hole_share : (N,) ndarray
        How much of that is for a hole.
    roundness : (N,) ndarray
        Share of its box that it fills, 0.79 for a disc.
    folds : int
        How often the pattern repeats round the ring; 0 where nothing repeats.
    regularity : float
        Share of the spots' weight that this repetition explains beyond chance.
    filled : float
        Share of the pattern's visible places that hold a spot.
    regular : (N,) ndarray of bool
        Spots that belong to it.
    """

    at: FloatArray
    radius: FloatArray
    cut_radius: FloatArray
    weight: FloatArray
    hole_share: FloatArray
    roundness: FloatArray
    folds: int = 0
    regularity: float = 0.0
    filled: float = 0.0
    regular: Mask = field(default_factory=lambda: np.zeros(0, bool))

    def __len__(self) -> int:
        return len(self.at)


def find_spots(cuts: Cuts, ring: Ring) -> Spots:
    """Find round patches of cells that lie in holes or dimples, and the pattern they repeat in.

    Parameters
    ----------
    cuts : Cuts
    ring : Ring
        That the cells are of.
    """
    either = cuts.hole + cuts.dimple
    count, patch, boxes, middles = _patches(either)
    cells = np.maximum(boxes[:, cv2.CC_STAT_AREA], 1)
    long, short = (size(boxes[:, [cv2.CC_STAT_WIDTH, cv2.CC_STAT_HEIGHT]], axis=1) for size in (np.max, np.min))
    # A spot on the seam is seen whole at one end only, beyond the first SEAM columns and within the last.
    own = (middles[:, 0] >= SEAM / 2) & (middles[:, 0] < either.shape[1] + SEAM / 2)
    keep = own & (cells >= LEAST_CELLS) & (short >= LEAST_ROUND * long)
    keep[0] = False
    share = np.asarray(either / (either + COUNTED * (1 - either)), np.float32)
    filled = np.bincount(patch.ravel(), _wrapped_round(share).ravel(), count)
    both, holes = (np.bincount(patch.ravel(), _wrapped_round(part).ravel(), count) for part in (either, cuts.hole))
    column = (middles[:, 0] - SEAM / 2) % either.shape[1]
    at = np.stack([column, middles[:, 1]], axis=-1) * CELL + (CELL - 1) / 2
    radius, cut_radius = (CELL * np.sqrt(area / np.pi) for area in (cells, filled))
    columns = (at, radius, cut_radius, both / cells, holes / np.maximum(both, 1e-9), cells / (long * short))
    return _with_pattern(Spots(*(values[keep] for values in columns)), ring)


def _wrapped_round(image: Map) -> Map:
    """Run on half a ``SEAM`` past either end, so that what lies on the seam is whole."""
    half = SEAM // 2
    return np.concatenate([image[:, -half:], image, image[:, :half]], axis=1)


def _patches(either: Map) -> tuple[int, FloatArray, FloatArray, FloatArray]:
    sure = np.asarray(_wrapped_round(either) > LEAST_SURE).astype(np.uint8)
    count, patch, boxes, middles = cv2.connectedComponentsWithStats(sure, connectivity=4)
    return count, np.asarray(patch), np.asarray(boxes), np.asarray(middles, np.float64)


def _with_pattern(spots: Spots, ring: Ring) -> Spots:
    """Find the repetition that most of the spots' weight belongs to."""
    none = replace(spots, regular=np.zeros(len(spots), bool))
    if spots.weight.sum() < 3:
        return none
    best, most = none, 0.0
    for folds, excess in _repetitions(spots, ring):
        filled = _filled(spots, folds, ring)
        regular = (spots.weight > SOLID) & (filled >= FILLED)
        # A pattern of 12 also repeats 6, 4 and 3 times: the finest of equals is the pattern's own.
        size = float(spots.weight[regular] @ filled[regular]) * (1 + 0.003 * folds)
        if size > most or not most:
            most = max(size, most)
            fill = float(np.median(filled[regular])) if regular.any() else float(filled.max())
            best = replace(spots, folds=folds, regularity=excess, filled=fill, regular=regular)
    return best


def _repetitions(spots: Spots, ring: Ring) -> list[tuple[int, float]]:
    """Return the folds at whose multiples most power lies beyond what scattered spots would give, finest first."""
    rows, columns = ring.depth.shape[0] // 4 + 1, ring.depth.shape[1] // 2
    stamp = np.zeros((rows, columns), np.float32)
    where = (spots.at[:, 1] / 4).astype(int) % rows, (spots.at[:, 0] / 2).astype(int) % columns
    np.add.at(stamp, where, spots.weight)
    stamp = cv2.GaussianBlur(wrapped(stamp, 12), (0, 0), 1.6, sigmaY=1.0)[12:-12, 12:-12]
    power = (np.abs(np.fft.rfft(stamp, axis=1)) ** 2).sum(axis=0)[1:241]
    shares = np.array([power[fold - 1 :: fold].sum() for fold in FOLDS]) / float(power.sum())
    chance = np.array([len(power[fold - 1 :: fold]) / len(power) for fold in FOLDS])
    excess = (shares - chance) / (1 - chance)
    top = np.argsort(-excess)[:TRIED]
    return [(FOLDS[i], max(float(excess[i]), 0.0)) for i in sorted(top, reverse=True)]


def _filled(spots: Spots, folds: int, ring: Ring) -> FloatArray:
    """Return the share of the visible places that repeat each spot and hold one themselves."""
    rows, columns = ring.depth.shape
    period = columns / folds
    phase = spots.at[:, 0] % period
    gap = np.abs(phase[:, None] - phase[None, :])
    gap = np.minimum(gap, period - gap)
    reach = np.maximum(MATCH, 0.4 * np.minimum(spots.radius[:, None], spots.radius[None, :]))
    near = (gap < reach) & (np.abs(spots.at[:, 1, None] - spots.at[None, :, 1]) < reach) & (spots.weight > SOLID)
    # Each spot's place in another's numbering of the periods, so that none straddles a period's end.
    turn = np.round((spots.at[None, :, 0] - spots.at[:, None, 0]) / period).astype(int) % folds
    filled = np.zeros((len(spots), folds), bool)
    first, other = np.nonzero(near)
    filled[first, turn[first, other]] = True
    places = (spots.at[:, 0, None] + np.arange(folds) * period).round().astype(int) % columns
    row = np.clip(spots.at[:, 1].round().astype(int), 0, rows - 1)
    shown = ring.seen[row[:, None], places] | filled
    share: FloatArray = np.where(filled.sum(axis=1) >= 3, filled.sum(axis=1) / np.maximum(shown.sum(axis=1), 4), 0.0)
    return share
