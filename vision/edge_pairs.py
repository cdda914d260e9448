"""What speaks for a pair of level lines to be the ring's two outer edges.

Between the edges lie chamfers, cheeks and openings, the same from above and from below; outside them shadows, the
face and the hat, and the outline's ends stop there.
"""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
import numpy.typing as npt

from vision.edge_rows import Row, Rows
from vision.edge_start import CHAMFER_MM
from vision.measurement import FloatArray

# Steps count up to these; fainter lines than the last have no like.
STEEP, CLEAR, LEAST_CLEAR = 0.4, 0.3, 0.08
# Zones beside an edge, mm: a chamfer's width, beyond it, far off.
OUTSIDE_MM, INSIDE_MM = ((0.3, 1.8), (1.8, 5.0), (5.0, 30.0)), ((0.3, 1.8), (1.8, 6.0), (6.0, 16.0))
CHAMFER_ZONE_MM = (0.3, 1.8)
# Lines that mirror each other: chamfers' and cheeks' depths from the edge, and how alike they are.
CHAMFERS_MM, CHAMFERS_STD_MM, CHEEKS_FROM_MM, CHEEKS_STD_MM = (0.4, 1.8), 0.2, 2.5, 0.25
# Rotors are seldom thinner or thicker, and hardly ever between solid and vented ones.
SELDOM_UNDER_MM, SELDOM_OVER_MM, BETWEEN_MM, VENTED_FROM_MM = 10.0, 36.0, (14.5, 15.8), 15.5


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
    sign : float
        1 where it is mostly brighter above it, -1 where it is brighter below, 0 where that tells nothing.
    supposed : int
        1 for an edge that is not seen, but supposed a chamfer's width above a line that is, -1 for one below.
    """

    height_mm: float
    points_px: FloatArray
    cover: float
    step: float
    sign: float = 0.0
    supposed: int = 0

    @property
    def seen_mm(self) -> float:
        """Height of what is seen of it: of a supposed edge, the line beside it."""
        return self.height_mm - self.supposed * CHAMFER_MM

    @property
    def clearness(self) -> float:
        """0 to 1: clear and all along."""
        return self.cover * min(self.step, CLEAR) / CLEAR


@dataclass(frozen=True, eq=False)
class Pairs:
    """Pairs of lines.

    Attributes
    ----------
    lines : sequence of RimLine
    top, bottom : (N,) ndarray of int
        Numbers of each pair's lines.
    """

    lines: Sequence[RimLine]
    top: npt.NDArray[np.intp]
    bottom: npt.NDArray[np.intp]

    @classmethod
    def of(cls, lines: Sequence[RimLine], span_mm: tuple[float, float]) -> "Pairs":
        """Pair all lines that are so far apart (least, most)."""
        height = np.array([line.height_mm for line in lines])
        apart = height[:, None] - height[None, :]
        supposed = np.array([line.supposed for line in lines])
        outward = (supposed >= 0)[:, None] & (supposed <= 0)[None, :]
        top, bottom = np.nonzero((apart > span_mm[0]) & (apart < span_mm[1]) & outward)
        return cls(lines, top, bottom)

    @cached_property
    def height(self) -> FloatArray:
        """Heights of all lines, mm."""
        return np.array([line.height_mm for line in self.lines])

    @cached_property
    def clear(self) -> FloatArray:
        """Clearness of all lines."""
        return np.array([line.clearness for line in self.lines])

    @property
    def thick_mm(self) -> FloatArray:
        """Distance of each pair's lines."""
        return np.asarray(self.height[self.top] - self.height[self.bottom])

    def features(self, rows: Rows) -> FloatArray:
        """Return what speaks for each pair, (N, F)."""
        parts = [*self._lines(), *self._mirrored(), *self._seldom()]
        return np.stack(parts + self._beside(rows), axis=1)

    def _lines(self) -> list[FloatArray]:
        """Describe the two lines themselves, and which others lie beside them."""
        own = np.array([[line.cover, min(line.step, STEEP), line.clearness] for line in self.lines])
        sign = np.array([line.sign * min(line.step, STEEP) for line in self.lines])
        upward, downward = self._zones(1.0), self._zones(-1.0)
        of_top, of_bottom = own[self.top], own[self.bottom]
        near = (upward[self.top] + downward[self.bottom]).T
        signed = [self._signed(side, CHAMFER_ZONE_MM) for side in (1.0, -1.0)]
        leans = [signed[side][numbers] for numbers in (self.top, self.bottom) for side in (0, 1)]
        least = np.minimum(of_top[:, [0, 2]], of_bottom[:, [0, 2]]).T
        supposed = np.array([abs(line.supposed) for line in self.lines], np.float64)
        hidden = supposed[self.top] + supposed[self.bottom]
        return [hidden, *(of_top + of_bottom).T, *near, sign[self.top], sign[self.bottom], *leans, *least]

    def _away(self, outward: float) -> FloatArray:
        return np.asarray(outward * (self.height[None, :] - self.height[:, None]))

    def _zones(self, outward: float) -> FloatArray:
        """Return the clearness of the clearest line in the zones outside and inside each line, (L, 6)."""
        away = self._away(outward)
        sides = [(away, zone) for zone in OUTSIDE_MM] + [(-away, zone) for zone in INSIDE_MM]
        return np.stack([np.where((a >= z[0]) & (a < z[1]), self.clear, 0.0).max(axis=1) for a, z in sides], axis=1)

    def _signed(self, outward: float, zone: tuple[float, float]) -> FloatArray:
        """Return clearness and sign of the clearest line in a zone beside each line, (L,)."""
        away = self._away(outward)
        clear = np.where((away >= zone[0]) & (away < zone[1]), self.clear, 0.0)
        sign = np.array([line.sign for line in self.lines])
        best = clear.argmax(axis=1)
        return np.asarray(clear.max(axis=1) * sign[best])

    def _mirrored(self) -> list[FloatArray]:
        """How clear a line at some depth from the upper edge is that has its like from the lower edge."""
        shown = self.clear > LEAST_CLEAR
        height, clear = self.height[shown], self.clear[shown]
        both = np.minimum(clear[:, None], clear[None, :])
        sums = height[:, None] + height[None, :]
        middle = self.height[self.top] + self.height[self.bottom]
        unlike = (sums[None] - middle[:, None, None]).astype(np.float32)
        depth = self.height[self.top][:, None] - height[None, :]
        found = []
        for low, high, std in (
            (CHAMFERS_MM[0], CHAMFERS_MM[1], CHAMFERS_STD_MM),
            (CHEEKS_FROM_MM, self.thick_mm[:, None] / 2, CHEEKS_STD_MM),
            (-CHAMFERS_MM[1], -CHAMFERS_MM[0], CHAMFERS_STD_MM),
        ):
            deep = (depth > low) & (depth < high)
            alike = both * np.exp(-0.5 * (unlike / std) ** 2) * deep[:, :, None]
            found.append(np.asarray(alike.max(axis=(1, 2), initial=0.0)))
        return found

    def _seldom(self) -> list[FloatArray]:
        thick = self.thick_mm
        low, high = BETWEEN_MM
        return [
            np.maximum(0.0, (SELDOM_UNDER_MM - thick) / 3),
            np.maximum(0.0, (thick - SELDOM_OVER_MM) / 3),
            ((thick > low) & (thick < high)).astype(np.float64),
            np.minimum(thick, 14.0) / 5,
            (thick > VENTED_FROM_MM).astype(np.float64),
        ]

    def _beside(self, rows: Rows) -> list[FloatArray]:
        """Describe the rim inside and outside the two edges."""
        return [*self._ends(rows.ends), *self._cheeks(rows), *self._busy(rows)]

    def _ends(self, ends: Sequence[Row]) -> list[FloatArray]:
        """Whether the outline's ends begin and stop with the edges."""
        top, bottom = self.height[self.top], self.height[self.bottom]
        zones = ((bottom + 1.2, top - 1.2), (top - 3, top - 1.2), (bottom + 1.2, bottom + 3))
        inside, upper, lower = (_both(end.mean(*zone) for end in ends) for zone in zones)
        above = _both(end.mean(top + 0.8, top + 4) for end in ends)
        below = _both(end.mean(bottom - 4, bottom - 0.8) for end in ends)
        return [inside, np.minimum(upper, 0.3) - above, np.minimum(lower, 0.3) - below, above, below]

    def _cheek_zones(self) -> tuple[tuple[FloatArray, FloatArray], tuple[FloatArray, FloatArray]]:
        top, bottom = self.height[self.top], self.height[self.bottom]
        deep = np.minimum(2.8, self.thick_mm / 3)
        return (top - deep, top - 1.2), (bottom + 1.2, bottom + deep)

    def _cheeks(self, rows: Rows) -> list[FloatArray]:
        """How alike the cheeks are, and how unlike what is outside."""
        top, bottom = self.height[self.top], self.height[self.bottom]
        upper, lower = self._cheek_zones()
        found = []
        for row in (rows.level, rows.red, rows.green):
            high, low = row.mean(*upper), row.mean(*lower)
            above, below = row.mean(top + 0.6, top + 2.5), row.mean(bottom - 2.5, bottom - 0.6)
            found += [_size(high - low, 1.0), _size(high - above, 0.6), _size(low - below, 0.6)]
        return found

    def _busy(self, rows: Rows) -> list[FloatArray]:
        """Where openings between vanes may be, and where not."""
        top, bottom, thick = self.height[self.top], self.height[self.bottom], self.thick_mm
        upper, lower = self._cheek_zones()
        middle = (bottom + 0.4 * thick, top - 0.4 * thick)
        high, low, inner = (rows.busy.mean(*zone) for zone in (upper, lower, middle))
        above, below = rows.busy.mean(top + 0.6, top + 3), rows.busy.mean(bottom - 3, bottom - 0.6)
        dark = (rows.level.mean(*upper) + rows.level.mean(*lower)) / 2 - rows.level.mean(*middle)
        open_ = np.clip(_known(8 * (inner - np.maximum(high, low)) + 2 * dark), -1, 1.5)
        vented = thick > VENTED_FROM_MM
        return [
            open_ * vented,
            open_ * ~vented,
            _size(np.log((high + 0.01) / (low + 0.01)), 2.0),
            np.clip(_known(above - high), -0.1, 0.1) * 10,
            np.clip(_known(below - low), -0.1, 0.1) * 10,
            np.clip(_known(rows.busy.mean(top - 4, top - 0.5)), 0, 0.2) * 5,
            np.clip(_known(rows.busy.mean(bottom + 0.5, bottom + 4)), 0, 0.2) * 5,
        ]


def _known(values: FloatArray) -> FloatArray:
    return np.where(np.isfinite(values), values, 0.0)


def _size(values: FloatArray, most: float) -> FloatArray:
    return np.minimum(np.abs(_known(values)), most)


def _both(sides: Iterable[FloatArray]) -> FloatArray:
    """Mean of what is known of both sides; 0 where nothing is."""
    values = np.stack(list(sides))
    known = np.isfinite(values)
    return np.asarray(np.where(known, values, 0.0).sum(axis=0) / np.maximum(known.sum(axis=0), 1))
