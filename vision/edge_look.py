"""What the wall of the ring looks like between its rims: vented or solid, how many vanes, rusty or not."""

from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from vision.edge_unrolled import Unrolled, read_at
from vision.measurement import FloatArray
from vision.ring import Pixels

# Shares of the thickness where openings and cheeks lie.
OPENINGS, CHEEKS = (0.40, 0.60), ((0.10, 0.20), (0.80, 0.90))
# Vented over solid, in log-odds: a constant, then how much busier and darker the middle is than the cheeks; never
# surer than this. Fitted by tests/fitting/fit_ventilation.py.
VENTED, SUREST = (-2.85, 8.82, 10.82), 4.0
# Numbers of vanes tried, and how far round they are looked at, rad; brightness that varies over more than this is
# light, not vanes.
VANES, ROUND_RAD, LIGHT_RAD = (24, 68), 1.0, 0.25
LEAST_PEAK, LEAST_COLUMNS = 0.15, 30
# Vanes by their period over vanes there are, on photos of the fitting set.
TOO_MANY = (0.96, 1.16)
# Red over blue, as a logarithm, from which a wall counts as brown.
BROWN, MOSTLY = 0.35, 0.5


@dataclass(frozen=True)
class Wall:
    """The unrolled rim between two heights (low, high)."""

    unrolled: Unrolled
    span_mm: tuple[float, float]

    def band(self, shares: tuple[float, float]) -> slice:
        """Rows between two shares of the thickness, from the top."""
        low, high = self.span_mm
        at = [(self.unrolled.heights_mm[0] - high + share * (high - low)) / self.unrolled.row_mm for share in shares]
        return slice(max(0, round(at[0])), max(round(at[1]), round(at[0]) + 1))

    def level(self, shares: tuple[float, float]) -> FloatArray:
        """Mean logarithm of brightness of a band in every column; NaN out of sight."""
        rows = self.band(shares)
        shown = self.unrolled.seen[rows].all(axis=0)
        return np.where(shown, self.unrolled.level[rows].mean(axis=0), np.nan).astype(np.float64)


def ventilation_features(wall: Wall) -> tuple[float, float]:
    """How much busier and how much darker the middle of the wall is than its cheeks, in logarithms of brightness."""
    levels = [wall.level(shares) for shares in (OPENINGS, *CHEEKS)]
    if min(np.isfinite(np.diff(level)).sum() for level in levels) < LEAST_COLUMNS:
        return 0.0, 0.0
    busy = [float(np.mean(np.abs(step[np.isfinite(step)]))) for step in map(np.diff, levels)]
    middle, *cheeks = (float(np.median(level[np.isfinite(level)])) for level in levels)
    return busy[0] - max(busy[1:]), float(np.mean(cheeks)) - middle


def ventilation(wall: Wall) -> dict[str, float]:
    """Tell a vented ring from a solid one by the openings between its vanes: likelihoods under equal priors."""
    constant, *slopes = VENTED
    odds = constant + float(np.dot(slopes, ventilation_features(wall)))
    vented = float(1 / (1 + np.exp(-np.clip(odds, -SUREST, SUREST))))
    return {"vented": vented, "solid": 1.0 - vented}


def vane_count(wall: Wall) -> tuple[int, int] | None:
    """Count vanes by the period of the openings round the rim.

    Returns
    -------
    int, int
        The least and the most that they may be. Vanes stand back from the wall by a length that the photo hardly
        tells, and look closer together for it: their period alone tells up to a sixth too many. None where no period
        stands out.
    """
    angles, level = wall.unrolled.angles_rad, wall.level(OPENINGS)
    counts = np.arange(*VANES)
    power, total = np.zeros(len(counts)), 0.0
    for side in (-1.0, 1.0):
        shown = np.isfinite(level) & (side * angles > 0) & (side * angles < ROUND_RAD)
        if shown.sum() >= LEAST_COLUMNS:
            found, most = _periods(side * angles[shown], level[shown], counts)
            power, total = power + found, total + most
    if total <= 0:
        return None
    best = int(power.argmax())
    share = float(power[best] / total)
    fewest, most = (round(float(counts[best]) / too_many) for too_many in reversed(TOO_MANY))
    return (fewest, most) if share > LEAST_PEAK else None


def _periods(angle: FloatArray, level: FloatArray, counts: npt.NDArray[np.intp]) -> tuple[FloatArray, float]:
    """Return the power of each number of vanes on one side of the rim, and what a perfect comb would have.

    Going outward, a vane's near flank shows, but not its far one: only where the brightness falls is a vane's corner.
    """
    order = np.argsort(angle)
    angle, fall = angle[order], np.maximum(-np.gradient(level[order]), 0.0)
    apart = np.exp(-0.5 * ((angle[:, None] - angle[None, :]) / LIGHT_RAD) ** 2)
    fall = fall - apart @ fall / apart.sum(axis=1)
    turns = np.exp(1j * counts[:, None] * angle[None, :])
    return np.abs(turns @ fall) ** 2, float(len(angle) * (fall**2).sum() / 2)


def is_rusty(bgr: Pixels, wall: Wall) -> bool:
    """Whether the cheeks are mostly brown.

    Parameters
    ----------
    bgr : (H, W, 3) ndarray of uint8
        Turned as the unrolled rim's photo.
    wall : Wall
    """
    rows = np.concatenate([np.arange(len(wall.unrolled.level))[wall.band(cheek)] for cheek in CHEEKS])
    where, shown = wall.unrolled.xy_px[rows], wall.unrolled.seen[rows]
    read = read_at(bgr, where).astype(np.float64)[shown]
    return len(read) > 0 and bool((np.log(read[:, 2] + 12) - np.log(read[:, 0] + 12) > BROWN).mean() > MOSTLY)
