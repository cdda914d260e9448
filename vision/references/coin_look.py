"""What a coin's rings look like: a raised rim just inside its edge, a core of another metal, and nothing outside."""

import json
from dataclasses import dataclass
from functools import cache
from importlib import resources

import numpy as np

from vision.measurement import FloatArray
from vision.references.circles import LOG_STEP, Rings

TABLE = "coin_table.json"
# Where rings are weighed: logarithms of their radii over that of the coin's edge.
WEIGHED = np.arange(-22, 20) * 2 * LOG_STEP
# A ring that shows on less of its round tells nothing; rings are as wide as their neighbours' halves.
SHOWN_BY_CHANCE = 0.2
WIDTH = np.array([0.5, 1.0, 0.5])


@dataclass(frozen=True)
class CoinLook:
    """Weights of the rings about a coin's edge.

    Attributes
    ----------
    shown, coloured : (W,) ndarray
        Of rings at ``WEIGHED``: of all edges, and of those of colour.
    usual : float
        What they come to at a coin's edge: all but one in twenty coins of the ``fitting`` set reach it.
    """

    shown: FloatArray
    coloured: FloatArray
    usual: float

    def odds(self, rings: Rings) -> FloatArray:
        """Return how much every ring looks like a coin's edge.

        Parameters
        ----------
        rings : Rings

        Returns
        -------
        (G,) ndarray
            Natural logarithms of odds at `LOG_RATIOS`, comparable within a photo.
        """
        told = features(rings) @ np.concatenate([self.shown, self.coloured])
        odds: FloatArray = told
        return odds


def features(rings: Rings) -> FloatArray:
    """Return what is weighed of every ring (G, 2 W): how much shows at the radii ``WEIGHED`` about it."""
    at = np.rint(WEIGHED / LOG_STEP).astype(np.intp)
    return np.hstack([_around(shown, at) for shown in (rings.shown, rings.coloured)])


def _around(shown: FloatArray, at: np.ndarray) -> FloatArray:
    wide = np.convolve(np.maximum(shown - SHOWN_BY_CHANCE, 0.0), WIDTH, mode="same")
    margin = int(np.abs(at).max())
    padded = np.pad(wide, margin)
    return np.stack([padded[margin + step : margin + step + len(shown)] for step in at], axis=-1)


@cache
def coin_look() -> CoinLook:
    """Return the table that `tests/fitting/fit_coin.py` wrote."""
    table = json.loads(resources.files("vision.references").joinpath(TABLE).read_text(encoding="utf-8"))
    return CoinLook(np.array(table["shown"]), np.array(table["coloured"]), float(table["usual"]))
