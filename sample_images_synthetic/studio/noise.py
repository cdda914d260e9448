"""Procedural noise: tileable fields from which every texture of the studio is mixed."""

import math
from collections.abc import Sequence

import cv2
import numpy as np
from numpy.typing import NDArray

FloatImage = NDArray[np.float32]


def rgb(values: Sequence[float] | NDArray[np.float64]) -> FloatImage:
    """Give a colour the type of a picture's pixels."""
    return np.asarray(values, np.float32)


def octaves(rng: np.random.Generator, shape: tuple[int, int], coarsest: int = 4, roughness: float = 0.5) -> FloatImage:
    """Fractal noise that tiles, 0 to 1.

    Parameters
    ----------
    rng : numpy.random.Generator
        Source of chance.
    shape : (rows, columns)
        Size of the field; both powers of two.
    coarsest : int
        Cells of the coarsest octave along the shorter side.
    roughness : float
        Amplitude of each octave over the one before.
    """
    rows, columns = shape
    total = np.zeros(shape, np.float32)
    cells, amplitude = coarsest, 1.0
    while cells <= min(shape) // 2:
        grid = rng.random((cells * rows // min(shape), cells * columns // min(shape)), dtype=np.float32)
        total += amplitude * _grown(grid, shape)
        cells, amplitude = cells * 2, amplitude * roughness
    return stretched(total)


def streaks(rng: np.random.Generator, shape: tuple[int, int], along: int, coarsest: int = 8) -> FloatImage:
    """Noise drawn out ``along`` times in the direction of the rows (grain, turning marks), 0 to 1."""
    rows, columns = shape
    short = octaves(rng, (rows, max(columns // along, 8)), min(coarsest, max(columns // along, 8) // 2), 0.8)
    return stretched(_grown(short, shape))


def blobs(rng: np.random.Generator, shape: tuple[int, int], share: float, coarsest: int = 8) -> FloatImage:
    """Soft-edged spots that cover about ``share`` of the field, 0 to 1."""
    field = octaves(rng, shape, coarsest, 0.55)
    level = float(np.quantile(field[::4, ::4], 1 - share)) if share > 0 else 1.1
    return np.asarray(np.clip((field - level) / 0.08 + 0.5, 0, 1), np.float32)


def speckle(rng: np.random.Generator, shape: tuple[int, int], sigma: float) -> FloatImage:
    """Fine grain of ``sigma`` pixels, mean 0, standard deviation 1."""
    grain = rng.standard_normal(shape, dtype=np.float32)
    if sigma > 0:
        grain = blurred(grain, sigma, sigma)
    return np.asarray(grain / max(float(grain.std()), 1e-6), np.float32)


def blurred(field: FloatImage, across: float, down: float) -> FloatImage:
    """Blur by a Gaussian of ``across`` and ``down`` pixels, wrapping round."""
    pad = math.ceil(3 * max(across, down))
    wide = cv2.GaussianBlur(np.pad(field, pad, mode="wrap"), (0, 0), max(across, 0.01), sigmaY=max(down, 0.01))
    return np.ascontiguousarray(wide[pad:-pad, pad:-pad], dtype=np.float32)


def stretched(field: FloatImage) -> FloatImage:
    """Stretch the field to 0 to 1."""
    low, high = float(field.min()), float(field.max())
    return ((field - low) / max(high - low, 1e-9)).astype(np.float32)


def mixed(first: FloatImage, second: FloatImage, weight: FloatImage) -> FloatImage:
    """``first`` where the weight is 0, ``second`` where it is 1; colours take a grey weight."""
    w = weight[..., None] if first.ndim == 3 and weight.ndim == 2 else weight
    return (first * (1 - w) + second * w).astype(np.float32)


def _grown(grid: FloatImage, shape: tuple[int, int]) -> FloatImage:
    """Grow the grid to full size, smooth, wrapping round."""
    pad = 2
    rows, columns = shape
    wide = np.pad(grid, pad, mode="wrap")
    sy, sx = rows / grid.shape[0], columns / grid.shape[1]
    big = cv2.resize(wide, (round(wide.shape[1] * sx), round(wide.shape[0] * sy)), interpolation=cv2.INTER_CUBIC)
    y, x = round(pad * sy), round(pad * sx)
    return np.ascontiguousarray(big[y : y + rows, x : x + columns], dtype=np.float32)
