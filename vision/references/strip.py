"""The strip beside a thin thing's edge: its own wall and the shadow at its foot, told from the edge itself.

Averaged along a straight side, a profile has hardly any noise: one step where the thing meets the ground, or two where
a strip of wall or shadow lies between. The thing ends at the inner one.
"""

from dataclasses import dataclass

import numpy as np
from scipy.special import ndtr

from vision.edges import Image, offsets_px, profiles
from vision.measurement import FloatArray
from vision.references.outline import LIGHT

INSIDE_PX, OUTSIDE_PX = 4.0, 4.0
BLURS_PX = (0.7, 1.0, 1.4, 2.0)
GRID_PX = 0.25
LEAST_STRIP_PX = 0.75
# Two steps must explain so much better than one, and the inner one be no mere ringing of the outer.
BETTER = 0.45
LEAST_STEP = 4.0
RINGING, RINGING_PX = 0.2, 1.4


@dataclass(frozen=True)
class SideEdge:
    """Where a thing ends, measured outward from the line it was taken for.

    Attributes
    ----------
    shift_px : float
    bright_inside : float
        +1 where the thing is brighter than what meets it, -1 where darker.
    strip_px : float
        Width of the strip beside it; 0 where none shows.
    """

    shift_px: float
    bright_inside: float
    strip_px: float


def side_edge(bgr: Image, feet_px: FloatArray, normal_px: FloatArray, widest_px: float) -> SideEdge | None:
    """Fit one step, and two, to the mean profile across a straight side.

    Parameters
    ----------
    bgr : (H, W, 3) ndarray of uint8
    feet_px, normal_px : (N, 2) ndarray
        Points on the line and its outward unit normals.
    widest_px : float
        Widest strip of wall and shadow that can be.

    Returns
    -------
    SideEdge or None
        None where the line has no step near it, or no strip fits into ``widest_px``.
    """
    along = offsets_px(widest_px + max(INSIDE_PX, OUTSIDE_PX), GRID_PX)
    along = along[along <= OUTSIDE_PX + 0.5 * widest_px]
    mean = profiles(bgr, feet_px, normal_px, along).mean(axis=0)
    places = along[(along >= -widest_px) & (along <= 0.5 * widest_px)]
    if places[-1] - places[0] < LEAST_STRIP_PX + GRID_PX:
        return None
    fits = [_steps(mean, along, places, blur) for blur in BLURS_PX]
    one = min((fit[0] for fit in fits), key=lambda fit: fit.rest)
    two = min((fit[1] for fit in fits), key=lambda fit: fit.rest)
    if np.linalg.norm(one.steps[0]) < LEAST_STEP:
        return None
    if two.rest < BETTER * one.rest and _is_strip(two):
        return SideEdge(two.places[0], _bright(two.steps[0]), two.places[1] - two.places[0])
    return SideEdge(one.places[0], _bright(one.steps[0]), 0.0)


def _is_strip(two: "_Fit") -> bool:
    """Whether two steps are a thing's end and a dark strip beside it, not the ringing of a sharpened step."""
    inner, outer = (float(np.linalg.norm(step)) for step in two.steps)
    wide = two.places[1] - two.places[0] >= RINGING_PX
    least = max(LEAST_STEP, (RINGING if wide else 2.5 * RINGING) * outer)
    return inner > least and outer > LEAST_STEP and _bright(two.steps[0]) > 0


@dataclass(frozen=True)
class _Fit:
    places: tuple[float, ...]
    steps: FloatArray
    rest: float


def _steps(mean: FloatArray, along: FloatArray, places: FloatArray, blur_px: float) -> tuple[_Fit, _Fit]:
    """Fit the best single step and the best pair, (M, 3) profile, by trying every place of the grid."""
    ramps = ndtr((along[None, :] - places[:, None]) / blur_px)
    centred = ramps - ramps.mean(axis=1, keepdims=True)
    data = mean - mean.mean(axis=0)
    power, onto = (centred**2).sum(axis=1), centred @ data
    total = float((data**2).sum())
    gain = (onto**2).sum(axis=1) / power
    best = int(gain.argmax())
    one = _Fit((float(places[best]),), (onto[best] / power[best])[None], total - float(gain[best]))
    first, second = np.triu_indices(len(places), round(LEAST_STRIP_PX / GRID_PX))
    cross = np.einsum("nm,nm->n", centred[first], centred[second])
    det = power[first] * power[second] - cross**2
    a = (power[second, None] * onto[first] - cross[:, None] * onto[second]) / det[:, None]
    b = (power[first, None] * onto[second] - cross[:, None] * onto[first]) / det[:, None]
    gains = (a * onto[first] + b * onto[second]).sum(axis=1)
    top = int(gains.argmax())
    pair = (float(places[first[top]]), float(places[second[top]]))
    return one, _Fit(pair, np.stack([a[top], b[top]]), total - float(gains[top]))


def _bright(step: FloatArray) -> float:
    """Return +1 where brightness falls outward."""
    return float(-np.sign(step @ LIGHT))
