"""Which of the level lines on the unrolled rim are the ring's two outer edges.

Each pair of lines is rated by what speaks for it (`edge_pairs`); the weights were fitted
(`tests/fitting/fit_edge.py`) on photos whose true edges are known.
"""

import json
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources

import numpy as np

from vision.edge_pairs import Pairs, RimLine
from vision.edge_rows import Rows
from vision.edge_start import CHAMFER_MM
from vision.edge_unrolled import Unrolled
from vision.measurement import FloatArray

REACH_MM, NEAR_MM = 0.4, 0.2
# Parts of a line that lie level: within a pixel, a tenth of a millimetre at least; so many make a line.
STRAY_PX, LEAST_STRAY_MM, LEAST_PARTS, LEAST_COVER = 1.0, 0.1, 5, 0.2
# Noise in the openings looks like lines too: so many rows are looked at.
ROWS = 48
# What a rotor's edge may measure.
THINNEST_MM, THICKEST_MM = 6.0, 43.0
# Edges that are not seen: beyond lines so clear, where no other line is so near.
CLEAR_ENOUGH, NO_LINE_MM = 0.35, 0.35
TABLE = "edge_table.json"


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


def rim_lines(unrolled: Unrolled, *, lying: bool) -> list[RimLine]:
    """List the level lines of an unrolled rim; only of a lying rotor it is known where light comes from."""
    stray_mm = max(LEAST_STRAY_MM, STRAY_PX / unrolled.px_per_mm)
    lines = []
    for line in unrolled.lines(REACH_MM, NEAR_MM, ROWS):
        level = np.abs(line.heights_mm - line.height_mm) < stray_mm
        cover = float(level.sum()) / max(line.in_sight, 1)
        if level.sum() >= LEAST_PARTS and cover > LEAST_COVER:
            height_mm = float(line.heights_mm[level].mean())
            sign = float(np.sign(np.nansum(unrolled.steps[line.row]))) if lying else 0.0
            lines.append(RimLine(height_mm, line.points_px[level], cover, line.step, sign))
    return lines


def with_supposed(lines: Sequence[RimLine]) -> list[RimLine]:
    """Add the edges that a face and its chamfer of one brightness may hide: a chamfer's width beyond clear lines."""
    clear = [line for line in lines if line.clearness > CLEAR_ENOUGH]
    hidden = [
        RimLine(line.height_mm + side * CHAMFER_MM, line.points_px, 0.0, 0.0, 0.0, side)
        for line in clear
        for side in (1, -1)
        if min(abs(line.height_mm + side * CHAMFER_MM - other.height_mm) for other in lines) > NO_LINE_MM
    ]
    return [*lines, *hidden]


def likely_rims(lines: Sequence[RimLine], rows: Rows) -> list[Rims]:
    """Rate the pairs of lines that may be the ring's edges, the likeliest first; empty where there is none.

    Their probabilities leave room for none of them being right.
    """
    lines = with_supposed(lines)
    pairs = Pairs.of(lines, (THINNEST_MM, THICKEST_MM))
    if not len(pairs.top):
        return []
    # The first of the odds is that none of them are the edges.
    weights, any_ = _table()
    rated = np.concatenate([[0.0], pairs.features(rows) @ weights + any_])
    odds = np.exp(rated - rated.max())
    odds = odds[1:] / odds.sum()
    ranked = np.argsort(-odds)
    return [Rims(lines[pairs.top[n]], lines[pairs.bottom[n]], float(odds[n])) for n in ranked]


@cache
def _table() -> tuple[FloatArray, float]:
    """Return the weights of what speaks for a pair, and what any pair has over none."""
    plain = json.loads(resources.files("vision").joinpath(TABLE).read_text(encoding="utf-8"))
    return np.array(plain["weights"], float), float(plain["any"])
