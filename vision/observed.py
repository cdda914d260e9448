"""All edge samples of a scene side by side: one pass over trial scenes tells how far each lies from its curve."""

from collections.abc import Sequence
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from vision.measurement import FloatArray
from vision.terms import Gap, Term, View, robust_weight


@dataclass(frozen=True, eq=False)
class Observed:
    """What is seen, in the order of its terms, and how what the samples are linear in moves them.

    Attributes
    ----------
    terms : tuple of Term
    names : tuple of str
        The unknowns in the order of a trial's numbers.
    frame : (3, 3) ndarray
        The rotation that the leans start from.
    size_px : (int, int)
        Width and height of the photo.
    parts : tuple of slice
        Each term's samples.
    xy_px : (N, 2) ndarray
    std_px : (N,) ndarray
    level_mm : (N,) ndarray
        How high samples lie where all unknowns are nought.
    lifts, shifts : (P, N) ndarray
        How much higher each unknown lifts them, mm, and how far outward it shifts the edge that is seen, px.
    """

    terms: tuple[Term, ...]
    names: tuple[str, ...]
    frame: FloatArray
    size_px: tuple[int, int]
    parts: tuple[slice, ...]
    xy_px: FloatArray
    std_px: FloatArray
    level_mm: FloatArray
    lifts: FloatArray
    shifts: FloatArray

    @classmethod
    def of(cls, terms: Sequence[Term], names: Sequence[str], frame: FloatArray, size_px: tuple[int, int]) -> "Observed":
        """Put the samples of all terms side by side."""
        ends = np.cumsum([0, *(len(term.samples) for term in terms)])
        parts = tuple(slice(first, end) for first, end in pairwise(ends))
        level_mm, lifts, shifts = np.zeros(ends[-1]), *np.zeros((2, len(names), ends[-1]))
        place = {name: number for number, name in enumerate(names)}
        for term, part in zip(terms, parts, strict=True):
            for name, share in term.lifts.items():
                (level_mm if name == "" else lifts[place[name]])[part] += share
            shifts[place["bloom"], part] = term.samples.bright_inside
            shifts[place[term.offset_name], part] += 1.0
        xy_px = np.concatenate([term.samples.xy_px for term in terms])
        std_px = np.concatenate([term.samples.std_px for term in terms])
        return cls(tuple(terms), tuple(names), frame, size_px, parts, xy_px, std_px, level_mm, lifts, shifts)

    def __len__(self) -> int:
        return len(self.xy_px)

    def residuals(self, batch: FloatArray) -> FloatArray:
        """Return residuals (B, N) of trial scenes (B, P), in standard deviations along each edge's normal."""
        values = dict(zip(self.names, batch.T[..., None], strict=True))
        trace = View.of(values, self.frame, self.size_px).trace(self.xy_px, self.level_mm + batch @ self.lifts)
        expected_px, gaps = batch @ self.shifts, []
        for term, part in zip(self.terms, self.parts, strict=True):
            gap = term.gap((trace.at[0][:, part], trace.at[1][:, part]), values)
            expected_px[:, part] += gap.wave_px
            gaps.append((gap.gap_mm, gap.out_x, gap.out_y))
        joined = Gap(*(np.concatenate(parts, axis=1) for parts in zip(*gaps, strict=True)))
        return np.asarray((trace.gap_px(joined) - expected_px) / self.std_px)

    def weights(self, residual: FloatArray) -> FloatArray:
        """Weigh samples (N,) by their residuals, each curve's by how far that fits as a whole."""
        return np.concatenate([_weights(residual[part]) for part in self.parts])


def _weights(residual: FloatArray) -> FloatArray:
    size = np.abs(residual)
    # A start that is a few pixels off must not make outliers of a whole curve.
    spread = max(1.0, 1.4826 * float(np.median(size)))
    return np.sqrt(robust_weight(size / spread))
