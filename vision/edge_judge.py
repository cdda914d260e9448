"""A learned table that tells, by the profile across an edge, how far off the edge that counts it was followed."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

import numpy as np

from vision.band import BoolArray
from vision.measurement import FloatArray

# Profiles are read so far apart. Levels: darker ones are noise; logarithms of steepness end where noise begins.
STEP_MM = 0.125
DARK_LEVEL, LEAST_PEAK, LEAST_SLOPE = 6.0, 0.05, 0.02


@dataclass(frozen=True)
class Judge:
    """A smooth function of features: bumps about examples, after a linear map to a few numbers.

    Attributes
    ----------
    middle : (F,) ndarray
    axes : (K, F) ndarray
    examples : (E, K) ndarray
    weights : (E, 2) ndarray
        For the offset, mm, and for the logarithm of how far off that is.
    width, base : (2,) ndarray
        Of the bumps, as factors of the squared distance; what is said far from all examples.
    doubt : float
        Factor that makes the deviations true on examples left out.
    """

    middle: FloatArray
    axes: FloatArray
    examples: FloatArray
    weights: FloatArray
    width: FloatArray
    base: FloatArray
    doubt: float

    @classmethod
    def of(cls, plain: Mapping[str, Any]) -> "Judge":
        """Read the JSON form."""
        arrays = {name: np.array(plain[name], float) for name in plain if name != "doubt"}
        return cls(**arrays, doubt=plain["doubt"])

    def judge(self, features: FloatArray) -> tuple[float, float]:
        """Return the offset's mean and standard deviation, mm."""
        here = self.axes @ (features - self.middle)
        away = ((self.examples - here) ** 2).sum(axis=1)
        mean, log_off = self.base + (np.exp(-away[:, None] * self.width) * self.weights).sum(axis=0)
        return float(mean), self.doubt * float(np.exp(log_off))


@cache
def shipped_judges(package: str, table: str) -> dict[str, Judge]:
    """Return the judges of a table that a package ships, by the names of their edges."""
    plain = json.loads(resources.files(package).joinpath(table).read_text(encoding="utf-8"))
    return {name: Judge.of(part) for name, part in plain.items() if name != "provenance"}


def log_slope(level: FloatArray, axis: int) -> FloatArray:
    """Return how fast the logarithm of brightness changes along an axis of profiles, per mm."""
    slope: FloatArray = np.diff(np.log(level + DARK_LEVEL), axis=axis) / STEP_MM
    return slope


def beside(offsets_mm: FloatArray, reach_mm: float) -> BoolArray:
    """Return which slopes between offsets (M,) lie so near the followed edge that their peaks are its own: (M - 1,)."""
    near: BoolArray = np.abs(offsets_mm[:-1] + STEP_MM / 2) < reach_mm
    return near
