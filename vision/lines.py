"""Lines that run round a band: circles of the rotor, told from mixtures of two circles by consensus.

Seen along an ellipse that runs near it, every other ellipse is a constant and two low waves. Many such lines are laid
through five peaks each, taken at random; those that most other peaks agree with, to a pixel, are the circles. A line
that follows the rim on one side and the wall's far edge on the other agrees with few.
"""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from vision.band import Band, BoolArray, nearest
from vision.measurement import FloatArray

HYPOTHESES, POINTS, MOST_PEAKS = 700, 5, 7
ON_LINE_PX = 1.0
SPARSE, RATED, REFINED = 12, 300, 12
SECTORS, SECTOR_SHARE = 12, 0.4
# Keeps five angles of which two are the same from stopping everything.
TINY = 1e-7 * np.eye(5)
SEED = 20260501


@dataclass(frozen=True)
class Line:
    """A smooth line along a band.

    Attributes
    ----------
    offset_px : (A,) ndarray
        Offset at each angle.
    support : float
        Share of the angles in the photo with an edge on the line; one beside it counts the less the farther it is.
    roundness : float
        Share of the sectors in the photo that are supported: a wall's far edge shows on one side only.
    strength : float
        Median strength on the line, levels per pixel.
    """

    offset_px: FloatArray
    support: float
    roundness: float
    strength: float

    @property
    def sureness(self) -> float:
        """Support, all round."""
        return self.support * self.roundness


def find_lines(band: Band, noise: float, wave_px: float, which: BoolArray | None = None) -> list[Line]:
    """Find the lines along a band, the surest first.

    Parameters
    ----------
    band : Band
    noise : float
        Usual strength where there is no edge, levels per pixel.
    wave_px : float
        How large a line's waves may be.
    which : (A,) ndarray of bool, optional
        The angles that count.
    """
    which = band.seen > 0 if which is None else which & (band.seen > 0)
    peak = _strongest(band.peaks(noise), band.strength)
    waves = _waves(len(peak))
    peak[~which] = np.inf
    laid = _laid(peak, waves, band, wave_px)
    if not len(laid):
        return []
    tolerance = max(ON_LINE_PX, band.step_px)
    agreed = _agreement(peak[::2], laid @ waves[::2].T, tolerance)
    found: list[Line] = []
    for number in _distinct(laid @ waves[::SPARSE].T, np.argsort(-agreed), 2.0 * tolerance):
        offset = _refined(peak, waves, laid[number], tolerance)
        if not any(np.abs(offset - other.offset_px).mean() < tolerance for other in found):
            found.append(_rated(band, peak, offset, which))
    return sorted(found, key=lambda line: -line.sureness)


def _distinct(lines: FloatArray, order: npt.NDArray[np.intp], apart: float) -> list[int]:
    """Return the first few in ``order`` of the lines (H, A) that lie apart from those before."""
    kept: list[int] = []
    left = order[:RATED]
    while len(left) and len(kept) < REFINED:
        kept.append(int(left[0]))
        left = left[np.abs(lines[left] - lines[left[0]]).mean(axis=1) > apart]
    return kept


def _strongest(peak: FloatArray, strength: FloatArray) -> FloatArray:
    """Keep the few strongest peaks of each angle (A, K)."""
    rank = np.argsort(np.where(np.isfinite(peak), -strength, 0.0), axis=1)[:, :MOST_PEAKS]
    kept: FloatArray = np.take_along_axis(peak, rank, axis=1)
    return kept


def _waves(count: int) -> FloatArray:
    angle = np.arange(count) * (2 * np.pi / count)
    return np.stack([np.ones(count), np.cos(angle), np.sin(angle), np.cos(2 * angle), np.sin(2 * angle)], axis=1)


def _laid(peak: FloatArray, waves: FloatArray, band: Band, wave_px: float) -> FloatArray:
    """Lay lines through five peaks each, spread round the circle: coefficients (H, 5)."""
    dice = np.random.default_rng(SEED)
    count = len(peak)
    # One of the angles that count in each fifth of them.
    usable = np.flatnonzero(np.isfinite(peak).any(axis=1))
    if len(usable) < count // 8:
        return np.empty((0, POINTS))
    place = (np.arange(POINTS) + dice.random((HYPOTHESES, POINTS))) / POINTS + dice.random((HYPOTHESES, 1))
    angle = usable[(place % 1.0 * len(usable)).astype(int)]
    level = dice.uniform(band.along_px[0], band.along_px[-1], (HYPOTHESES, 1, 1))
    near = np.abs(peak[angle] - level) < wave_px
    pick = np.where(near, dice.random(near.shape), -1.0).argmax(axis=2)
    through = np.take_along_axis(peak[angle], pick[..., None], axis=2)[..., 0]
    found = near.any(axis=2).all(axis=1) & np.isfinite(through).all(axis=1)
    laid = np.linalg.solve(waves[angle[found]] + TINY, through[found, :, None])[..., 0]
    tame: FloatArray = laid[(np.abs(laid[:, 1:]) < wave_px).all(axis=1) & (np.abs(laid[:, 0]) < band.along_px[-1])]
    return tame


def _agreement(peak: FloatArray, lines: FloatArray, tolerance: float) -> FloatArray:
    """Return the share of the angles (H,) that have a peak on each line (H, A)."""
    away = np.full(lines.shape, np.inf, np.float32)
    lines = lines.astype(np.float32)
    for column in peak.T.astype(np.float32):
        np.minimum(away, np.abs(lines - column), out=away)
    share: FloatArray = (away < tolerance).mean(axis=1)
    return share


def _refined(peak: FloatArray, waves: FloatArray, line: FloatArray, tolerance: float) -> FloatArray:
    """Let a line settle on the peaks near it, by least squares in a narrowing window."""
    offset: FloatArray = waves @ line
    for window in (3.0 * tolerance, 1.5 * tolerance, 1.5 * tolerance):
        near = nearest(peak, offset)
        use = np.abs(near - offset) < window
        if use.sum() < len(peak) // 8:
            break
        # A weak pull keeps the waves tame where much of the rim is hidden.
        left = waves[use].T @ waves[use] + np.diag([0.0, 0.3, 0.3, 1.0, 1.0])
        offset = waves @ np.linalg.solve(left, waves[use].T @ near[use])
    return offset


def _rated(band: Band, peak: FloatArray, offset_px: FloatArray, which: BoolArray) -> Line:
    off = np.abs(nearest(peak, offset_px) - offset_px) / max(ON_LINE_PX, band.step_px)
    on = np.where(which, np.maximum(0.0, 1.0 - off**2), 0.0)
    strength = band.strength[np.arange(len(peak)), band.column(offset_px)][which]
    return Line(offset_px, float(on.sum() / max(1, which.sum())), _roundness(on, which), float(np.median(strength)))


def _roundness(on: FloatArray, which: BoolArray) -> float:
    sectors = [(on[part].sum(), which[part].sum()) for part in np.array_split(np.arange(len(on)), SECTORS)]
    judged = [hits > SECTOR_SHARE * angles for hits, angles in sectors if angles > 0]
    return float(np.mean(judged)) if judged else 0.0
