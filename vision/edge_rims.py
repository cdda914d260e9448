"""Which of the level lines on the unrolled rim are the ring's two outer edges.

Between the edges lie chamfers, cheeks and openings, the same from above and from below; outside them shadows, the
face and the hat. Each pair of lines is rated by what shows on both of its sides; the weights were fitted
(`tests/fitting/fit_edge.py`) on photos whose true edges are known.
"""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from vision.edge_unrolled import Unrolled
from vision.measurement import FloatArray

REACH_MM, NEAR_MM = 0.4, 0.2
# Parts of a line that lie level: within a pixel, a tenth of a millimetre at least; so many make a line.
STRAY_PX, LEAST_STRAY_MM, LEAST_PARTS, LEAST_COVER = 1.0, 0.1, 5, 0.2
STEEP, CLEAR = 0.4, 0.3
# What a rotor's edge may measure.
THINNEST_MM, THICKEST_MM = 6.0, 43.0
# Zones beside an edge, mm: a chamfer's width, beyond it, far off.
OUTSIDE_MM, INSIDE_MM = ((0.3, 1.8), (1.8, 5.0), (5.0, 30.0)), ((0.3, 1.8), (1.8, 6.0), (6.0, 16.0))
# Lines that mirror each other: chamfers' and cheeks' depths from the edge, and how alike they are.
CHAMFERS_MM, CHAMFERS_STD_MM, CHEEKS_FROM_MM, CHEEKS_STD_MM = (0.4, 1.8), 0.12, 2.5, 0.25
# Rotors are seldom thinner or thicker, and hardly ever between solid and vented ones.
SELDOM_UNDER_MM, SELDOM_OVER_MM, BETWEEN_MM = 10.0, 36.0, (14.5, 15.8)
WEIGHTS = np.array([2.01, 1.94, 0.87, -0.12, -0.10, -3.60, 3.93, -1.42, -0.40, 1.13, 5.63, -0.27, -3.08, -0.74])


@dataclass(frozen=True, eq=False)
class RimLine:
    """A level line.

    Attributes
    ----------
    height_mm : float
    points_px : (N, 2) ndarray
    cover : float
        Share of the rim in sight along which it lies level.
    step : float
        Mean size of its step of brightness, a logarithm.
    """

    height_mm: float
    points_px: FloatArray
    cover: float
    step: float

    @property
    def clearness(self) -> float:
        """0 to 1: clear and all along."""
        return self.cover * min(self.step, CLEAR) / CLEAR


@dataclass(frozen=True, eq=False)
class Rims:
    """A pair of lines that may be the ring's edges, and how probable that is among all pairs."""

    top: RimLine
    bottom: RimLine
    probability: float

    @property
    def thickness_mm(self) -> float:
        """Their distance along the axis."""
        return self.top.height_mm - self.bottom.height_mm


def rim_lines(unrolled: Unrolled) -> list[RimLine]:
    """List the level lines of an unrolled rim."""
    stray_mm = max(LEAST_STRAY_MM, STRAY_PX / unrolled.px_per_mm)
    lines = []
    for line in unrolled.lines(REACH_MM, NEAR_MM):
        level = np.abs(line.heights_mm - line.height_mm) < stray_mm
        cover = float(level.sum()) / max(line.in_sight, 1)
        if level.sum() >= LEAST_PARTS and cover > LEAST_COVER:
            height_mm = float(line.heights_mm[level].mean())
            lines.append(RimLine(height_mm, line.points_px[level], cover, line.step))
    return lines


def likely_rims(lines: Sequence[RimLine]) -> list[Rims]:
    """Rate the pairs of lines that may be the ring's edges, the likeliest first; empty where there is none."""
    pairs = [
        (top, bottom)
        for top in lines
        for bottom in lines
        if THINNEST_MM < top.height_mm - bottom.height_mm < THICKEST_MM
    ]
    if not pairs:
        return []
    rated = np.array([features(lines, *pair) for pair in pairs]) @ WEIGHTS
    odds = np.exp(rated - rated.max())
    found = [Rims(*pair, float(p)) for pair, p in zip(pairs, odds / odds.sum(), strict=True)]
    return sorted(found, key=lambda rims: -rims.probability)


def features(lines: Sequence[RimLine], top: RimLine, bottom: RimLine) -> FloatArray:
    """Return what speaks for a pair, (14,)."""
    beside = _beside(lines, top, 1.0) + _beside(lines, bottom, -1.0)
    thick_mm = top.height_mm - bottom.height_mm
    mirrored = [
        _mirrored(lines, (top, bottom), CHAMFERS_MM, CHAMFERS_STD_MM),
        _mirrored(lines, (top, bottom), (CHEEKS_FROM_MM, thick_mm / 2), CHEEKS_STD_MM),
    ]
    low, high = BETWEEN_MM
    seldom = [
        max(0.0, (SELDOM_UNDER_MM - thick_mm) / 3),
        max(0.0, (thick_mm - SELDOM_OVER_MM) / 3),
        float(low < thick_mm < high),
    ]
    return np.concatenate([beside, mirrored, seldom])


def _beside(lines: Sequence[RimLine], edge: RimLine, outward: float) -> FloatArray:
    """Describe a line and the clearest ones in the zones on both sides of it, (9,)."""
    away = outward * np.array([line.height_mm - edge.height_mm for line in lines])
    clear = np.array([line.clearness for line in lines])

    def clearest(signed: FloatArray, zone: tuple[float, float]) -> float:
        return float(clear[(signed >= zone[0]) & (signed < zone[1])].max(initial=0.0))

    own = [edge.cover, min(edge.step, STEEP), edge.clearness]
    return np.array([*own, *(clearest(away, z) for z in OUTSIDE_MM), *(clearest(-away, z) for z in INSIDE_MM)])


def _mirrored(
    lines: Sequence[RimLine], pair: tuple[RimLine, RimLine], depths_mm: tuple[float, float], std_mm: float
) -> float:
    """How clear a line at some depth from the upper edge is that has its like from the lower edge."""
    height, clear = np.array([line.height_mm for line in lines]), np.array([line.clearness for line in lines])
    from_top, from_bottom = pair[0].height_mm - height, height - pair[1].height_mm
    unlike = (from_top[:, None] - from_bottom[None, :]) / std_mm
    alike = np.minimum(clear[:, None], clear[None, :]) * np.exp(-0.5 * unlike**2) * (np.abs(unlike) < 2)
    deep = (from_top > depths_mm[0]) & (from_top < depths_mm[1])
    return float(alike[deep].max(initial=0.0))
