"""Convolutions of small nets, worked out by NumPy."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
import numpy.typing as npt

from vision.ring import Map

# Results worked out at a time: what they are worked out from then stays in a processor's cache.
BLOCK = 4096

Weights = npt.NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class Layer:
    """Weights and how they step.

    Attributes
    ----------
    weights : (O, I, K, K) ndarray of float32
    bias : (O,) ndarray of float32
    stride, spread : int
        Steps from one result to the next, and from one weight to the next.
    is_round : bool
        Whether columns run on across a seam; else nothing lies beyond them, as beyond the rows.
    """

    weights: Weights
    bias: Weights
    stride: int = 1
    spread: int = 1
    is_round: bool = False

    def over(self, image: Map) -> Map:
        """Convolve (I, R, C) to (O, R / stride, C / stride)."""
        depth, rows, columns = image.shape
        size = self.weights.shape[-1]
        pad = self.spread * (size // 2)
        wide = np.pad(image, ((0, 0), (0, 0), (pad, pad)), mode="wrap" if self.is_round else "constant")
        wide = np.pad(wide, ((0, 0), (pad, pad), (0, 0)))
        rows, columns = rows // self.stride, columns // self.stride
        matrix = self.weights.reshape(len(self.weights), -1)
        out = np.empty((len(matrix), rows, columns), np.float32)
        # Every weight's view of the image under one another, so that a block of rows is one product of matrices.
        block = max(1, BLOCK // columns)
        for first in range(0, rows, block):
            count = min(block, rows - first)
            seen = np.empty((depth, size, size, count, columns), np.float32)
            for down in range(size):
                row = first * self.stride + down * self.spread
                part = wide[:, row : row + count * self.stride : self.stride]
                for along in range(size):
                    column = along * self.spread
                    seen[:, down, along] = part[:, :, column : column + columns * self.stride : self.stride]
            out[:, first : first + count] = (matrix @ seen.reshape(matrix.shape[1], -1)).reshape(-1, count, columns)
        return out + self.bias[:, None, None]


def above_zero(image: Map) -> Map:
    """Cut off below zero, in place."""
    return np.maximum(image, 0.0, out=image)


@dataclass(frozen=True, eq=False)
class Stack:
    """A first layer, layers that each add to what is there, and one that decides."""

    first: Layer
    middle: tuple[Layer, ...]
    last: Layer

    @classmethod
    def of(cls, plain: Sequence[Mapping[str, Any]], *, is_round: bool) -> "Stack":
        """Build the layers from their JSON form; a stride that isn't said is 1."""
        layers = []
        for part in plain:
            weights, bias = (np.array(part[name], np.float32) for name in ("weights", "bias"))
            layers.append(Layer(weights, bias, part.get("stride", 1), part["spread"], is_round))
        return cls(layers[0], tuple(layers[1:-1]), layers[-1])

    def over(self, image: Map) -> Map:
        """Work out what they say of an image (I, R, C): (O, R, C)."""
        seen = above_zero(self.first.over(image))
        for layer in self.middle:
            seen += above_zero(layer.over(seen))
        return self.last.over(seen)
