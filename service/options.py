"""Measure's options, as texts: the command line, a form and a row of a batch all say them the same way."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any, cast

import numpy as np

from vision.measurement import FloatArray, View
from vision.references.parse import parse_kind
from vision.request import Request

CHOICES = {"view": ("face", "edge"), "lies": ("face", "bench", "hat"), "hat": ("up", "down", "auto")}
LENGTHS = {
    "lift_mm": "what lies between the face and the reference (tape, magnet)",
    "thickness_mm": "the rotor's thickness, measured by hand",
    "height_mm": "the rotor's height over all, measured by hand",
    "diameter_mm": "the rotor's diameter, known otherwise",
}
POINTS = {"rim": "rim_xy_px", "reference_points": "reference_xy_px"}
PHOTO_OPTIONS = ("view", "reference", "lies", "hat", *LENGTHS, *POINTS)
LONGEST_MM = 2000.0


class OptionError(ValueError):
    """An option that can't be followed: which, what is needed, what came."""


@dataclass(frozen=True)
class Order:
    """What to do with one photo: the view and what was said about it.

    Attributes
    ----------
    view : {"face", "edge"}
    request : vision.request.Request
    """

    view: View = "face"
    request: Request = field(default_factory=Request)

    @property
    def told(self) -> dict[str, float]:
        """The rotor's own lengths measured by hand, mm."""
        lengths = {key: getattr(self.request, key) for key in LENGTHS if key != "lift_mm"}
        return {key: length for key, length in lengths.items() if length is not None}


def parse_order(texts: Mapping[str, str | None]) -> Order:
    """Return the order that ``texts`` spell; a name that is absent, None or empty was not said.

    Raises
    ------
    OptionError
        One line: which option, what is needed, what came.
    """
    said = {name: text.strip() for name, text in texts.items() if text and text.strip()}
    unknown = sorted(said.keys() - set(PHOTO_OPTIONS))
    if unknown:
        raise OptionError(f"unknown option {unknown[0]}: use {', '.join(PHOTO_OPTIONS)}")
    values: dict[str, Any] = {name: _PARSERS[name](name, text) for name, text in said.items()}
    view = cast("View", values.pop("view", "face"))
    values = {POINTS.get(name, name): value for name, value in values.items()}
    return Order(view, Request(**values))


def _choice(name: str, text: str) -> str:
    if text not in CHOICES[name]:
        raise OptionError(f"{name} must be {' or '.join(CHOICES[name])}, not {text!r}")
    return text


def _length(name: str, text: str) -> float:
    try:
        length_mm = float(text)
    except ValueError:
        raise OptionError(f"{name} must be a length in mm such as 26.5, not {text!r}") from None
    lowest = 0.0 if name == "lift_mm" else 1.0
    if not lowest <= length_mm <= LONGEST_MM:
        raise OptionError(f"{name} must lie between {lowest:g} and {LONGEST_MM:g} mm, not {text}")
    return length_mm


def _points(name: str, text: str) -> FloatArray:
    try:
        xy_px = np.array([[float(n) for n in pair.split(",")] for pair in text.split()], dtype=np.float64)
    except ValueError:
        xy_px = np.empty(0)
    if xy_px.ndim != 2 or xy_px.shape[1] != 2 or not np.isfinite(xy_px).all():
        raise OptionError(f"{name} must be points 'x,y x,y …' in pixels of the photo as displayed, not {text!r}")
    if name == "rim" and len(xy_px) < 3:
        raise OptionError(f"rim needs at least 3 points, not {len(xy_px)}")
    return xy_px


def _reference(name: str, text: str) -> str:
    try:
        parse_kind(text)
    except ValueError as fault:
        raise OptionError(f"{name}: {fault}") from None
    return text


_PARSERS: dict[str, Callable[[str, str], Any]] = {
    **dict.fromkeys(CHOICES, _choice),
    **dict.fromkeys(LENGTHS, _length),
    **dict.fromkeys(POINTS, _points),
    "reference": _reference,
}
