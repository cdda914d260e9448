"""Whether a guess at a card looks like one: a small convolutional net on the guess laid flat, with its surroundings."""

import json
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

import cv2
import numpy as np

from vision.edges import Image
from vision.layer import Layer, Weights, above_zero
from vision.measurement import FloatArray
from vision.references.pieces import OPPONENTS
from vision.references.sides import to_pixels
from vision.ring import Map

TABLE = "card_look_table.json"
# So many of a plane's guesses are looked at, those whose edges stand out best.
LOOKED_AT = 9
# What is laid flat round a card's middle, a millimetre to a pixel; read twice as fine first.
WIDTH_MM, HEIGHT_MM, FINER = 128, 96, 2
DARK_LEVEL = 12.0
# Differences of colour, logarithms, over those of brightness.
COLOUR_GAIN = 2.0


@dataclass(frozen=True, eq=False)
class CardLook:
    """The net, and how what it says and how the edges stand out are weighed.

    Attributes
    ----------
    layers : tuple of Layer
    place : (O, R, C) ndarray of float32
        Weights of the last layer's results, each for its own place.
    bias : float
    weighing : (3,) ndarray
        Of the net's score, of the edges', and of neither: log odds.
    """

    layers: tuple[Layer, ...]
    place: Weights
    bias: float
    weighing: FloatArray

    @classmethod
    def of(cls, plain: Mapping[str, Any]) -> "CardLook":
        """Build the net from its JSON form."""
        layers = [
            Layer(np.array(part["weights"], np.float32), np.array(part["bias"], np.float32), part["stride"])
            for part in plain["layers"]
        ]
        return cls(tuple(layers), np.array(plain["place"], np.float32), plain["bias"], np.array(plain["weighing"]))

    def score(self, flat: Image) -> float:
        """Look at a guess laid flat, (HEIGHT_MM, WIDTH_MM, 3)."""
        image = normalised(flat)
        for layer in self.layers:
            image = above_zero(layer.over(image))
        return float((image * self.place).sum() + self.bias)

    def likeness(self, look: float, edges: float) -> float:
        """Return the probability of a card, by the net's score and that of the edges."""
        odds = float(np.dot(self.weighing, (look, edges, 1.0)))
        return float(1.0 / (1.0 + np.exp(-np.clip(odds, -30, 30))))


def likeness(bgr: Image, homography: FloatArray, edges: float) -> float:
    """Tell how likely a guess is a card.

    Parameters
    ----------
    bgr : (H, W, 3) ndarray of uint8
    homography : (3, 3) ndarray
        From the card's frame, mm, to pixels.
    edges : float
        How well its edges stand out, 0 to 1.
    """
    look = shipped_look()
    return look.likeness(look.score(laid_flat(bgr, homography)), edges)


def laid_flat(bgr: Image, homography: FloatArray) -> Image:
    """Lay a guess flat, a millimetre to a pixel: (HEIGHT_MM, WIDTH_MM, 3)."""
    half = np.array([WIDTH_MM, HEIGHT_MM]) / 2
    outline = to_pixels(homography, half * np.array([[-1.0, -1.0], [1.0, -1.0], [1.0, 1.0], [-1.0, 1.0]]))
    # The photo is made about as coarse as what is read from it.
    size_px = float(np.linalg.norm(outline[2] - outline[0]))
    shrink = max(1, round(size_px / (FINER * np.hypot(WIDTH_MM, HEIGHT_MM))))
    height, width = bgr.shape[:2]
    low = np.clip(np.floor(outline.min(axis=0)) - shrink, 0, [width - 2 * shrink, height - 2 * shrink]).astype(int)
    high = np.clip(np.ceil(outline.max(axis=0)) + shrink, low + 2 * shrink, [width, height]).astype(int)
    part = bgr[low[1] : high[1], low[0] : high[0]]
    if shrink > 1:
        size = ((high - low) // shrink).tolist()
        part = cv2.resize(part[: size[1] * shrink, : size[0] * shrink], size, interpolation=cv2.INTER_AREA)
    to_part = np.array([[1, 0, -low[0] + 0.5], [0, 1, -low[1] + 0.5], [0, 0, shrink]]) / shrink
    to_part[:2, 2] -= 0.5
    step = 1.0 / FINER
    to_card = np.array([[step, 0, step / 2 - half[0]], [0, -step, half[1] - step / 2], [0, 0, 1.0]])
    fine = cv2.warpPerspective(
        part,
        to_part @ homography @ to_card,
        (FINER * WIDTH_MM, FINER * HEIGHT_MM),
        flags=cv2.INTER_LINEAR | cv2.WARP_INVERSE_MAP,
        borderMode=cv2.BORDER_REPLICATE,
    )
    return np.asarray(cv2.resize(fine, (WIDTH_MM, HEIGHT_MM), interpolation=cv2.INTER_AREA))


def normalised(flat: Image) -> Map:
    """Return logarithms of brightness and colours, less their medians, (3, R, C)."""
    level = np.log(flat.astype(np.float32) + DARK_LEVEL)
    shades = np.moveaxis(cv2.transform(level, OPPONENTS), -1, 0)
    shades = shades - np.median(shades, axis=(1, 2), keepdims=True)
    return np.asarray(shades * np.array([1.0, COLOUR_GAIN, COLOUR_GAIN]).reshape(3, 1, 1), np.float32)


@cache
def shipped_look() -> CardLook:
    """Read the net that was trained on sample photos; its provenance stands in the file."""
    return CardLook.of(json.loads(resources.files("vision.references").joinpath(TABLE).read_text(encoding="utf-8")))
