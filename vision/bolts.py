"""The bolt holes and the centre bore: how many, on what circle, and at what height over the face.

Everything is looked for in planes parallel to the face. A plane at the wrong height puts its circles off the axis;
the right one puts all of them round it, so the height is found where the holes repeat best.
"""

from dataclasses import dataclass
from functools import cached_property

import cv2
import numpy as np

from vision.measurement import FloatArray
from vision.ring import Map, Mask, read_at
from vision.top_view import TopView

# Columns round the axis: a whole number of them between holes of every count.
COLUMNS = 120
COUNTS = (3, 4, 5, 6, 8, 10)
# Bolts of passenger cars; 3, 8 and 10 are looked for so that they are not taken for 6, 4 or 5.
COUNT_PRIOR = np.array([0.05, 1.0, 1.0, 1.0, 0.2, 0.05])
# Radii over the rim's: of what is looked at, of the bore, of the bolt circle; and the bolt circle's over the bore's.
SHARES, BORE_SHARES, BOLT_SHARES = (0.12, 0.60), (0.13, 0.35), (0.21, 0.54)
BOLTS_OVER_BORE = (1.25, 2.6)
# At a rim of 330 mm: holes, nuts and studs.
HOLE_RADII_MM = (5.2, 6.3, 7.6, 9.1, 11.0)
# Heights over the face at a rim of 330 mm. A wheel that is on stands its bolts higher than any hat does.
HEIGHTS_UP, HEIGHTS_DOWN = (2.0, 120.0), (-75.0, -2.0)
# A step of the height moves the axis so far in the view, at a rim of 330 mm; square on, larger steps will do.
SHIFT_MM, HEIGHT_STEPS_MM = 1.6, (3.5, 14.0)
# Logarithm of the share, middle and spread of each kind of height: hat up, behind a wheel, hat down.
USUAL = ((0.0, 28.0, 20.0), (-3.0, 65.0, 20.0), (-0.7, -45.0, 20.0))
# Votes over the usual, as they count: a strong one hardly more than a clear one.
MOST_VOTES, VOTE_POWER = 60.0, 0.7
# Holes look alike: what their votes differ by is taken off, in standard deviations.
UNLIKE = 0.5
# A bore's step, clipped, over the usual step at any radius.
STEP_LIMIT, USUAL_STEP, SOFT = 0.5, 0.03, 0.8
# A plane's odds are the exponential of how its holes and its bore stand out, times these: set on the fitting set.
SURENESS, MOST_SCORE = 2.5, 30.0
BORE_WEIGHT, MOST_BORE = 6.0, 2.0


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
    # Where a cap or a card hides the bore, the bolts may stand anywhere.
    scores, rows, columns = (
        np.concatenate(part) for part in zip(planes.combs(bore_share), planes.combs(), strict=True)
    )
    odds = SURENESS * np.minimum(scores, MOST_SCORE) + np.log(COUNT_PRIOR)
    odds += np.concatenate([BORE_WEIGHT * np.minimum(bore_clear, MOST_BORE), 0 * bore_clear])[:, None]
    odds += np.tile(usual(heights), 2)[:, None]
    likely = np.exp(odds - odds.max())
    which = int(likely.sum(axis=0).argmax())
    best = int(likely[:, which].argmax())
    if scores[best, which] <= 0:
        return None
    plane = best % len(heights)
    count = COUNTS[which]
    turn = (columns[best, which] + np.arange(count) * COLUMNS / count) * (2 * np.pi / COLUMNS)
    return Bolts(
        count,
        float(likely[:, which].sum() / likely.sum()),
        float(planes.heights_mm[plane]),
        float(_BOLT_SHARES[rows[best, which]] * rim_mm),
        float(bore_share[plane] * rim_mm),
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


_STEP = 2 * np.pi / (2 * COLUMNS)
_SHARES = SHARES[1] * np.exp(-_STEP * np.arange(int(np.log(SHARES[1] / SHARES[0]) / _STEP) + 1))
_TURN = np.arange(COLUMNS) * (2 * np.pi / COLUMNS)
_GRID = np.stack([np.outer(_SHARES, np.cos(_TURN)), np.outer(_SHARES, np.sin(_TURN))], axis=-1).reshape(1, -1, 2)
_BOLT_ROWS = np.logical_and(BOLT_SHARES[0] < _SHARES, BOLT_SHARES[1] > _SHARES)
_BOLT_SHARES = _SHARES[_BOLT_ROWS]


@dataclass(frozen=True, eq=False)
class _Planes:
    """The rotor's middle, unwrapped in several planes (H): brightness (H, R, C), and votes for holes (H, B, C)."""

    heights_mm: FloatArray
    level: Map
    seen: Mask
    votes: Map

    @classmethod
    def read(cls, view: TopView, heights_mm: FloatArray) -> "_Planes":
        rim_mm = view.face.rim_radius_mm
        votes = view.votes(HOLE_RADII_MM)
        votes /= (float(np.median(votes[view.seen])) if view.seen.any() else 0.0) + 0.02
        votes = np.clip(votes, 0, MOST_VOTES) ** np.float32(VOTE_POWER)
        size = np.diag([rim_mm, rim_mm, 1.0])
        where = [cv2.perspectiveTransform(_GRID, on @ size) for on in view.on_view(heights_mm)]
        maps = np.asarray(where, np.float32).reshape(len(heights_mm) * len(_SHARES), COLUMNS, 2)
        shape = (len(heights_mm), len(_SHARES), COLUMNS)
        soft = cv2.GaussianBlur(view.level, (0, 0), SOFT)
        level, seen = (read_at(image, maps).reshape(shape) for image in (soft, view.seen))
        bolts = maps.reshape(*shape, 2)[:, _BOLT_ROWS].reshape(-1, COLUMNS, 2)
        return cls(heights_mm, level, seen, read_at(votes, bolts).reshape(len(heights_mm), -1, COLUMNS))

    def bores(self) -> tuple[FloatArray, FloatArray]:
        """Return how clearly one circle steps alike all round, over the usual step, and its share of the rim: (H,)."""
        fits = (_SHARES[1:-1] > BORE_SHARES[0]) & (_SHARES[1:-1] < BORE_SHARES[1])
        alike = clearness(self.level, self.seen)
        row = np.where(fits, alike, -np.inf).argmax(axis=1)
        return alike[np.arange(len(row)), row], _SHARES[1:-1][row]

    def combs(self, bore_share: FloatArray | None = None) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return the best score (H, counts) of equal spots round each circle that suits the bore; its row, column."""
        fits = np.ones((len(self.heights_mm), len(_BOLT_SHARES)), bool)
        if bore_share is not None:
            over = _BOLT_SHARES[None, :] / bore_share[:, None]
            fits = (over > BOLTS_OVER_BORE[0]) & (over < BOLTS_OVER_BORE[1])
        found = [_best(np.where(fits[..., None], score, 0)) for score in self._scores]
        scores, rows, columns = (np.stack(part, axis=1) for part in zip(*found, strict=True))
        return scores, rows, columns

    @cached_property
    def _scores(self) -> list[FloatArray]:
        seen = self.seen[:, _BOLT_ROWS]
        power = (np.where(seen, self.votes, 0), np.where(seen, self.votes**2, 0))
        hidden = None if seen.all() else ~seen
        return [_comb(power, hidden, count) for count in COUNTS]


def clearness(level: Map, seen: Mask) -> FloatArray:
    """Return how much alike brightness steps between rows ``i`` and ``i + 2`` all round, over the usual step.

    Parameters
    ----------
    level : (H, R, C) ndarray
        Logarithm of brightness, unwrapped, in each plane.
    seen : (H, R, C) ndarray of bool

    Returns
    -------
    (H, R - 2) ndarray
    """
    both = seen[:, 2:] & seen[:, :-2]
    step = np.where(both, np.clip(level[:, 2:] - level[:, :-2], -STEP_LIMIT, STEP_LIMIT), np.float32(0))
    known = both.sum(axis=2)
    usual = np.abs(step).sum(axis=(1, 2)) / np.maximum(known.sum(axis=1), 1)
    alike = np.abs(step.sum(axis=2)) / np.maximum(known, level.shape[2] // 5)
    return np.asarray(alike / (USUAL_STEP + usual[:, None]), np.float64)


def _best(score: FloatArray) -> tuple[FloatArray, FloatArray, FloatArray]:
    best = score.reshape(len(score), -1).argmax(axis=1)
    row, column = np.divmod(best, score.shape[2])
    return score[np.arange(len(score)), row, column], row, column


def _comb(power: tuple[Map, Map], hidden: Mask | None, count: int) -> FloatArray:
    """Rate ``count`` equal spots by their mean less what they differ by; of more than three the weakest is forgiven.

    Any two spots that are not quite a third of a turn apart would make three otherwise.
    """
    teeth, squares = (part.reshape(*part.shape[:2], count, -1) for part in power)
    if hidden is None:
        known, weakest = np.full(1, count), teeth.min(axis=2)
    else:
        known = count - hidden.reshape(teeth.shape).sum(axis=2)
        weakest = np.where(hidden.reshape(teeth.shape), np.float32(MOST_VOTES), teeth).min(axis=2)
    spared = int(count > 3)
    weakest = spared * weakest
    others = np.maximum(known - spared, 1).astype(np.float32)
    mean = (teeth.sum(axis=2) - weakest) / others
    spread = np.sqrt(np.maximum((squares.sum(axis=2) - weakest**2) / others - mean**2, 0))
    score = (mean - np.float32(UNLIKE) * spread) * np.float32(np.sqrt(count))
    return np.where(known >= max(3, count - 1), score, 0)
