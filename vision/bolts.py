"""The bolt holes and the centre bore: how many, on what circle, and at what height over the face.

Everything is looked for in planes parallel to the face. A plane at the wrong height puts its circles off the axis;
the right one puts all of them round it, so the height is found where the holes repeat best.
"""

from dataclasses import dataclass
from typing import Any

import cv2
import numpy as np

from vision.measurement import FloatArray
from vision.ring import Map, Mask, read_at
from vision.top_view import TopView

# Columns round the axis: a whole number of them between holes of every count.
COLUMNS = 120
COUNTS = (3, 4, 5, 6, 8, 10)
# Bolts of passenger cars; 3, 8 and 10 are looked for so that they are not taken for 6, 4 or 5.
COUNT_PRIOR = np.array([0.05, 1.0, 1.0, 1.0, 0.02, 0.01])
# Radii over the rim's: of what is looked at, of the bore, of the bolt circle.
SHARES, BORE_SHARES, BOLT_SHARES = (0.12, 0.60), (0.13, 0.35), (0.21, 0.54)
# Heights over the face at a rim of 330 mm. A wheel that is on stands its bolts higher than any hat does.
HEIGHTS_UP, HEIGHTS_DOWN = (2.0, 120.0), (-75.0, -2.0)
# A step of the height moves the axis so far in the view, at a rim of 330 mm; square on, larger steps will do.
SHIFT_MM, HEIGHT_STEPS_MM = 1.6, (3.5, 14.0)
# Logarithm of the share, middle and spread of each kind of height: hat up, behind a wheel, hat down.
USUAL = ((0.0, 28.0, 20.0), (-3.0, 65.0, 20.0), (-0.7, -45.0, 20.0))
# What a place in a pattern tells: the net's odds over those of any cell, the logarithm within these, since what hides
# or looks like a hole is not the net's to know; a pattern's odds are their sum, times how much they are believed.
ANY_CELL, PLACE_LIMITS, SURENESS = -5.5, (-3.0, 6.0), 0.7
# A bore's odds inside less those outside, all round, clipped; what that counts for.
BORE_LIMIT, BORE_WEIGHT = 3.0, 2.0
LEAST_SHOWN = 3
# How far off its place a bolt may be.
NEAR_CELLS = 3


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
        Logarithm of how much likelier these places are to be bolts' than any others.
    evidence : float
        Logarithm of how likely such holes are in a scene that is right, over one that is not: comparable between
        scenes of one photo.
    """

    count: int
    probability: float
    height_mm: float
    circle_mm: float
    bore_mm: float
    angles_rad: FloatArray
    score: float
    evidence: float


def find_bolts(view: TopView, *, hat_up: bool | None = None) -> Bolts | None:
    """Count the bolt holes.

    Parameters
    ----------
    view : TopView
    hat_up : bool, optional
        Whether the hat stands toward the camera; both are tried where not said.

    Returns
    -------
    Bolts or None
        None where nothing repeats.
    """
    rim_mm = view.face.rim_radius_mm
    heights = _heights(view, hat_up)
    planes = _Planes.read(view, heights * rim_mm / 165.0)
    bore_clear, bore_share = planes.bores()
    scores, rows, columns = planes.combs()
    odds = SURENESS * scores + np.log(COUNT_PRIOR) + (BORE_WEIGHT * bore_clear + usual(heights))[:, None]
    likely = np.exp(odds - odds.max())
    which = int(likely.sum(axis=0).argmax())
    best = int(likely[:, which].argmax())
    if scores[best, which] <= 0:
        return None
    count = COUNTS[which]
    turn = (columns[best, which] + np.arange(count) * COLUMNS / count) * (2 * np.pi / COLUMNS)
    return Bolts(
        count,
        float(likely[:, which].sum() / likely.sum()),
        float(planes.heights_mm[best]),
        float(_BOLT_SHARES[rows[best, which]] * rim_mm),
        float(bore_share[best] * rim_mm),
        np.asarray(turn % (2 * np.pi), np.float64),
        float(scores[best, which]),
        float(np.log(likely.sum()) + odds.max()),
    )


def _heights(view: TopView, hat_up: bool | None) -> FloatArray:
    """Heights at a rim of 330 mm, as close as they need be."""
    far_mm = 50.0 * view.face.rim_radius_mm / 165.0
    axis = view.on_view(np.array([-far_mm, far_mm]))[:, :2, 2]
    shift = float(np.linalg.norm(axis[1] - axis[0])) * view.mm_per_px / (2 * far_mm)
    step = float(np.clip(SHIFT_MM / max(shift, 1e-6), *HEIGHT_STEPS_MM))
    ranges = {True: [HEIGHTS_UP], False: [HEIGHTS_DOWN], None: [HEIGHTS_DOWN, HEIGHTS_UP]}[hat_up]
    return np.concatenate([np.linspace(low, high, 2 + int((high - low) / step)) for low, high in ranges])


def usual(height_mm: FloatArray) -> FloatArray:
    """Logarithm of how usual heights are: it settles what a photo taken square on leaves open."""
    kinds = [share - 0.5 * ((height_mm - middle) / spread) ** 2 for share, middle, spread in USUAL]
    best: FloatArray = np.where(height_mm > 0, np.maximum(kinds[0], kinds[1]), kinds[2])
    return best


_NEAR = cv2.getStructuringElement(cv2.MORPH_ELLIPSE, (2 * NEAR_CELLS + 1, 2 * NEAR_CELLS + 1))
_STEP = 2 * np.pi / (2 * COLUMNS)
_SHARES = SHARES[1] * np.exp(-_STEP * np.arange(int(np.log(SHARES[1] / SHARES[0]) / _STEP) + 1))
_TURN = np.arange(COLUMNS) * (2 * np.pi / COLUMNS)
_GRID = np.stack([np.outer(_SHARES, np.cos(_TURN)), np.outer(_SHARES, np.sin(_TURN))], axis=-1).reshape(1, -1, 2)
_BOLT_ROWS = np.logical_and(BOLT_SHARES[0] < _SHARES, BOLT_SHARES[1] > _SHARES)
_BOLT_SHARES = _SHARES[_BOLT_ROWS]


@dataclass(frozen=True, eq=False)
class _Planes:
    """What the net says of the rotor's middle, unwrapped in several planes (H, R, C): of the bore, and of bolts."""

    heights_mm: FloatArray
    seen: Mask
    bore: Map
    bolts: Map

    @classmethod
    def read(cls, view: TopView, heights_mm: FloatArray) -> "_Planes":
        size = np.diag([view.face.rim_radius_mm, view.face.rim_radius_mm, 1.0])
        where = [cv2.perspectiveTransform(_GRID, on @ size) for on in view.on_view(heights_mm)]
        maps = np.asarray(where, np.float32).reshape(len(heights_mm), len(_SHARES), COLUMNS, 2)
        seen, bore = _read(view.seen, maps), _read(view.hub.bore, maps)
        bolts = np.empty((len(heights_mm), len(_BOLT_SHARES), COLUMNS), np.float32)
        for odds, planes in zip(view.hub.bolts, (heights_mm > 0, heights_mm <= 0), strict=True):
            if planes.any():
                bolts[planes] = _read(_or_near(odds), maps[planes][:, _BOLT_ROWS]) - np.float32(ANY_CELL)
        return cls(heights_mm, seen, np.clip(bore, -BORE_LIMIT, BORE_LIMIT), np.clip(bolts, *PLACE_LIMITS))

    def bores(self) -> tuple[FloatArray, FloatArray]:
        """Return how clearly a circle parts the bore from what is round it, and its share of the rim: (H,)."""
        both = self.seen[:, 2:] & self.seen[:, :-2]
        step = np.where(both, self.bore[:, 2:] - self.bore[:, :-2], 0).sum(axis=2)
        clear = step / np.maximum(both.sum(axis=2), COLUMNS // 5)
        fits = (_SHARES[1:-1] > BORE_SHARES[0]) & (_SHARES[1:-1] < BORE_SHARES[1])
        row = np.where(fits, clear, -np.inf).argmax(axis=1)
        return clear[np.arange(len(row)), row], _SHARES[1:-1][row]

    def combs(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return the best score (H, counts) of equal places round each circle; its row and its column."""
        seen = self.seen[:, _BOLT_ROWS]
        odds = np.where(seen, self.bolts, 0)
        found = [_best(_comb(odds, seen, count)) for count in COUNTS]
        scores, rows, columns = (np.stack(part, axis=1) for part in zip(*found, strict=True))
        return scores, rows, columns


def _or_near(odds: Map) -> Map:
    """Count a place half by what is near it: an axis that is tilted a little otherwise runs by the side of its hub."""
    return np.asarray(0.5 * (odds + cv2.dilate(odds, _NEAR)), np.float32)


def _read(image: Map | Mask, maps: Map) -> Any:
    """Read an image at places (H, R, C, 2)."""
    planes, rows, columns, _ = maps.shape
    return read_at(image, maps.reshape(planes * rows, columns, 2)).reshape(planes, rows, columns)


def _best(score: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    best = score.reshape(len(score), -1).argmax(axis=1)
    row, column = np.divmod(best, score.shape[2])
    return score[np.arange(len(score)), row, column], row, column


def _comb(odds: Map, seen: Mask, count: int) -> FloatArray:
    """Add up what ``count`` equal places tell, (H, R, COLUMNS / count); nothing where too few of them are seen."""
    teeth, shown = (part.reshape(*part.shape[:2], count, -1) for part in (odds, seen))
    enough = shown.sum(axis=2) >= max(LEAST_SHOWN, count - 1)
    return np.where(enough, teeth.sum(axis=2), PLACE_LIMITS[0] * count)
