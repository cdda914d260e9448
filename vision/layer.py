"""Convolutions of small nets, worked out by NumPy."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
import numpy.typing as npt

from vision.ring import Map

# Results worked out at a time: what they are worked out from then stays in a processor's cache.
BLOCK = 16384

Weights = npt.NDArray[np.float32]


@dataclass(frozen=True, eq=False)
class Layer:
    """Weights and how far apart they look.

    Attributes
    ----------
    weights : (O, I, K, K) ndarray of float32
    bias : (O,) ndarray of float32
    spread : int
        Steps from one weight to the next.
    is_round : bool
        Whether columns run on across a seam; else nothing lies beyond them, as beyond the rows.
    """

    weights: Weights
    bias: Weights
    spread: int = 1
    is_round: bool = False

    def over(self, image: Map) -> Map:
        """Convolve (I, R, C) to (O, R, C)."""
        size, out = self.weights.shape[-1], len(self.weights)
        _, rows, columns = image.shape
        seen = np.empty((out, rows, columns), np.float32)
        seen[:] = self.bias[:, None, None]
        block = max(1, BLOCK // columns)
        for first in range(0, rows, block):
            beside = self._beside(image[:, first : first + block])
            count = beside.shape[2]
            # One product of matrices says what these rows add to those above, beside and below them.
            added = (self._matrix @ beside.reshape(self._matrix.shape[1], -1)).reshape(size, out, count, columns)
            for part, shift in zip(added, self._shifts, strict=True):
                low, high = np.clip([first - shift, first + count - shift], 0, rows)
                if low < high:
                    seen[:, low:high] += part[:, low - first + shift : high - first + shift]
        return seen

    @cached_property
    def _matrix(self) -> Weights:
        """The weights, those of each row under one another, (K O, K I)."""
        size = self.weights.shape[-1]
        return np.ascontiguousarray(self.weights.transpose(2, 0, 3, 1)).reshape(size * len(self.weights), -1)

    @property
    def _shifts(self) -> list[int]:
        size = self.weights.shape[-1]
        return [(number - size // 2) * self.spread for number in range(size)]

    def _beside(self, image: Map) -> Map:
        """Lay over one another what lies so many columns on from each, (K, I, R, C)."""
        columns = image.shape[2]
        beside = np.zeros((len(self._shifts), *image.shape), np.float32)
        for part, shift in zip(beside, self._shifts, strict=True):
            seam = shift % columns
            if self.is_round or 0 <= shift < columns:
                part[..., : columns - seam] = image[..., seam:]
            if self.is_round or -columns < shift < 0:
                part[..., columns - seam :] = image[..., :seam]
        return beside


def above_zero(image: Map) -> Map:
    """Cut off below zero, in place."""
    return np.maximum(image, 0.0, out=image)


def folded(image: Map) -> Map:
    """Lay each two by two pixels over one another: (I, 2 R, 2 C) to (4 I, R, C)."""
    parts = [image[:, row::2, column::2] for row in range(2) for column in range(2)]
    return np.asarray(np.stack(parts, axis=1).reshape(-1, *parts[0].shape[1:]), np.float32)


@dataclass(frozen=True, eq=False)
class Stack:
    """A first layer, layers that each add to what is there, and one that decides."""

    first: Layer
    middle: tuple[Layer, ...]
    last: Layer

    @classmethod
    def of(cls, plain: Sequence[Mapping[str, Any]], *, is_round: bool) -> "Stack":
        """Build the layers from their JSON form."""
        layers = []
        for part in plain:
            weights, bias = (np.array(part[name], np.float32) for name in ("weights", "bias"))
            layers.append(Layer(weights, bias, part["spread"], is_round))
        return cls(layers[0], tuple(layers[1:-1]), layers[-1])

    def over(self, image: Map) -> Map:
        """Work out what they say of an image (I, R, C): (O, R, C)."""
        seen = above_zero(self.first.over(image))
        for layer in self.middle:
            seen += above_zero(layer.over(seen))
        return self.last.over(seen)
