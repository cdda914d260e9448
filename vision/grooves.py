"""Slots in the ring: long lines, straight or curved, that lean alike and repeat."""

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache

import cv2
import numpy as np
import numpy.typing as npt

from vision.measurement import FloatArray
from vision.ring import Map, Ring

Complex = npt.NDArray[np.complex64]

LEANS_DEG = np.arange(-69.0, 70.0, 3.0)
# 0: a logarithmic spiral, which leans the same at every radius; 1: a straight line; beyond: bent the other way.
STRAIGHTNESS = (-0.5, 0.0, 0.5, 1.0, 1.5)
ROWS, FINE_ROWS = 24, 48
COLUMNS, FINE_COLUMNS = 480, 960
# Light changes slowly round the ring, slots are narrow: only this many waves a turn and more count.
LOW_FREQUENCY, TOP_FREQUENCY = 14, 150
FOLDS = np.arange(3, 41)
# A slot may stop short of either edge of the ring; holes in a row leave more of it than this.
COVERED = 0.35
EDGE_SHARE = 0.06


@dataclass(frozen=True, eq=False)
class Grooves:
    """The family of lines that stands out most.

    Attributes
    ----------
    lean_deg : float
        Angle from the radius at the middle of the ring; positive when the outer end lies at the larger angle, as
        the face's x turns to y.
    straightness : float
        1 for straight lines, 0 for spirals of constant lean.
    folds : int
        Lines in the family.
    coherence : float
        How far the family stands above chance.
    continuity : float
        Probability along the line that all but ``COVERED`` of its length exceeds, times the root of their number.
    sharing : float
        Share of the family's lines that show on their own.
    width_mm : float
    angles_rad : (K,) ndarray
        Where each line crosses the middle.
    middle_mm : float
        Radius of the middle of the part of the ring that was looked at.
    """

    lean_deg: float
    straightness: float
    folds: int
    coherence: float
    continuity: float
    sharing: float
    width_mm: float
    angles_rad: FloatArray
    middle_mm: float

    def angle_at(self, radius_mm: FloatArray) -> FloatArray:
        """Angle at which a line crosses radii, relative to its middle."""
        crossing = crossing_rad(
            np.log(radius_mm / self.middle_mm), np.array([self.lean_deg]), np.array([self.straightness])
        )
        return np.asarray(crossing[0], np.float64)


def find_grooves(slot: Map, ring: Ring) -> Grooves:
    """Look for lines of cells that lie in slots.

    Parameters
    ----------
    slot : (R, C) ndarray
        Probabilities that cells lie in a slot, as in `cuts.Cuts`.
    ring : Ring
        That the cells are of.

    Returns
    -------
    Grooves
        The best family, however faint; its numbers say how faint.
    """
    span = ring.step_rad * (len(ring.depth) - 1)
    lean, straightness, folds, coherence = _search(slot, span)
    lean, straightness = _refined(slot, span, lean, straightness, folds)
    counts = {folds, folds // 2} if folds % 2 == 0 and folds >= 6 else {folds}
    shift = shift_rad(np.array([lean]), np.array([straightness]), span * (1 - EDGE_SHARE), FINE_ROWS)[0]
    maps = (slot, ring.seen.astype(np.float32))
    upright = [_straightened(_rows(part, FINE_ROWS, FINE_COLUMNS), shift) for part in maps]
    families = [_followed(ring, upright, (lean, straightness, count, coherence)) for count in counts]
    return max(families, key=lambda family: family.continuity)


def crossing_rad(rise: FloatArray, lean_deg: FloatArray, straightness: FloatArray) -> FloatArray:
    """Angle at which each line crosses each radius, relative to where it crosses the middle of the ring.

    Parameters
    ----------
    rise : (R,) ndarray
        Logarithm of the radius over the middle one.
    lean_deg, straightness : (K,) ndarray
        As in `Grooves`.

    Returns
    -------
    (K, R) ndarray
    """
    lean = np.radians(lean_deg)[:, None]
    radius, foot = np.exp(rise)[None, :], np.sin(lean)
    # The straight line that passes the axis at ``sin(lean)`` of the middle radius; it ends where it would turn back.
    chord = np.sign(foot) * (np.arccos(np.clip(np.abs(foot) / radius, 0, 1)) - np.arccos(np.abs(foot)))
    share = straightness[:, None]
    crossing: FloatArray = (1 - share) * np.tan(lean) * rise + share * chord
    return crossing


def shift_rad(lean_deg: FloatArray, straightness: FloatArray, span: float, rows: int) -> FloatArray:
    """Return `crossing_rad` at the middles of ``rows`` equal rows, rim first; ``span`` is log(outer / inner)."""
    return crossing_rad(span * (0.5 - (np.arange(rows) + 0.5) / rows), lean_deg, straightness)


@cache
def _family(span_cents: int) -> tuple[FloatArray, FloatArray, Complex]:
    """Leans, straightnesses and phase factors (K, ROWS, frequencies) of the coarse search."""
    lean, straightness = (x.ravel() for x in np.meshgrid(LEANS_DEG, STRAIGHTNESS, indexing="ij"))
    keep = (np.abs(lean) > 20) | (straightness == 0.5)
    lean, straightness = lean[keep], straightness[keep]
    shift = shift_rad(lean, straightness, span_cents / 50, ROWS)
    frequency = np.arange(LOW_FREQUENCY, TOP_FREQUENCY + 1)
    phase = np.exp(1j * shift[:, :, None] * frequency).astype(np.complex64)
    return lean, straightness, phase


def _search(slot: Map, span: float) -> tuple[float, float, int, float]:
    """Sum along every line of the family and ask which repetition stands out."""
    lean, straightness, phase = _family(round(50 * span))
    rows = np.fft.rfft(_rows(slot, ROWS, COLUMNS), axis=1)[:, LOW_FREQUENCY : TOP_FREQUENCY + 1].astype(np.complex64)
    sums = np.abs(np.einsum("krf,rf->kf", phase, rows)) ** 2
    chance = (np.abs(rows) ** 2).sum(axis=0) + 1e-6
    firsts = -LOW_FREQUENCY % FOLDS
    scores = np.stack(
        [
            (sums[:, first::fold].sum(axis=1) - chance[first::fold].sum()) / np.sqrt((chance[first::fold] ** 2).sum())
            for first, fold in zip(firsts, FOLDS, strict=True)
        ],
        axis=1,
    )
    line, fold = np.unravel_index(scores.argmax(), scores.shape)
    best = float(scores[line, fold])
    finest = max((i for i in range(len(FOLDS)) if scores[line, i] >= 0.8 * best), default=0)
    return float(lean[line]), float(straightness[line]), int(FOLDS[finest]), best


def _rows(image: Map, rows: int, columns: int) -> Map:
    """Resample the ring, less its edges, to a fixed number of rows and columns."""
    edge = round(EDGE_SHARE * len(image) / 2)
    part = image[edge : len(image) - edge]
    return np.asarray(cv2.resize(part, (columns, rows), interpolation=cv2.INTER_AREA), np.float32)


def _refined(slot: Map, span: float, lean_deg: float, straightness: float, folds: int) -> tuple[float, float]:
    """Look closer round the best line."""
    lean, straight = (
        x.ravel() for x in np.meshgrid(lean_deg + np.linspace(-3, 3, 13), straightness + np.linspace(-0.5, 0.5, 5))
    )
    frequency = folds * np.arange(-(-LOW_FREQUENCY // folds), 300 // folds + 1)
    rows = np.fft.rfft(_rows(slot, ROWS, FINE_COLUMNS), axis=1)[:, frequency]
    shift = shift_rad(lean, straight, span * (1 - EDGE_SHARE), ROWS)
    power = np.abs((np.exp(1j * shift[:, :, None] * frequency) * rows).sum(axis=1)) ** 2
    best = int(power.sum(axis=1).argmax())
    return float(lean[best]), float(straight[best])


def _followed(ring: Ring, upright: Sequence[Map], line: tuple[float, float, int, float]) -> Grooves:
    """Fold the periods of straightened maps; read what lies on the lines from rim to hat."""
    lean, straightness, folds, coherence = line
    flat, weight = upright
    folded = _folded(flat, folds) / np.maximum(_folded(weight, folds), 0.15)
    smooth = cv2.blur(folded.astype(np.float32), (3, 5), borderType=cv2.BORDER_REFLECT)
    steady = np.quantile(smooth, COVERED, axis=0)
    at = int(steady.argmax())
    singles = _singles(flat, weight, folds, at)
    alone = np.sort(singles)[::-1]
    middle = np.arange(folds) * (2 * np.pi / folds) + at * 2 * np.pi / FINE_COLUMNS
    return Grooves(
        lean_deg=lean,
        straightness=straightness,
        folds=folds,
        coherence=coherence,
        continuity=float(steady[at]) * float(np.sqrt(folds)),
        sharing=float((alone > 0.4 * max(float(np.median(alone)), 0.3)).mean()),
        width_mm=_width_mm(smooth.mean(axis=0), at, ring, lean),
        angles_rad=np.asarray(middle % (2 * np.pi), np.float64),
        middle_mm=ring.middle_mm,
    )


def _straightened(rows: Map, shift: FloatArray) -> Map:
    """Turn each row back by its shift, so that lines of the family stand upright."""
    columns = rows.shape[1]
    frequency = np.arange(columns // 2 + 1)
    turned = np.fft.rfft(rows, axis=1) * np.exp(1j * shift[:, None] * frequency)
    return np.asarray(np.fft.irfft(turned, n=columns, axis=1), np.float32)


def _folded(rows: Map, folds: int) -> Map:
    """Mean over the periods, (rows, columns of one period)."""
    columns = rows.shape[1]
    period = columns / folds
    where = (np.arange(folds)[:, None] * period + np.arange(int(period))[None, :]).round().astype(int) % columns
    return np.asarray(rows[:, where].mean(axis=1), np.float32)


def _singles(rows: Map, weight: Map, folds: int, at: int) -> FloatArray:
    """Strength of each line on its own: the median along it of the mean over three columns."""
    columns = rows.shape[1]
    where = (np.arange(folds)[:, None] * (columns / folds) + at + np.arange(-1, 2)[None, :]).round().astype(
        int
    ) % columns
    strength = rows[:, where].mean(axis=2) / np.maximum(weight[:, where].mean(axis=2), 0.15)
    return np.asarray(np.median(strength, axis=0), np.float64)


def _width_mm(profile: FloatArray, at: int, ring: Ring, lean_deg: float) -> float:
    """Width at half height across the line, at the middle of the ring."""
    half = profile[at] / 2
    count = len(profile)
    left = next((i for i in range(1, count) if profile[(at - i) % count] < half), count // 2)
    right = next((i for i in range(1, count) if profile[(at + i) % count] < half), count // 2)
    step_mm = ring.middle_mm * 2 * np.pi / FINE_COLUMNS
    return float((left + right - 1) * step_mm * np.cos(np.radians(lean_deg)))
