"""Which readings can be at all: the catalogue's own sizes with generous room, so that a slip is caught in the form."""

import math
from dataclasses import dataclass

from catalogue import Catalogue
from service.pages.lengths import Unit, other_unit, read_length, show_length
from service.pages.questions import Question

# What stays possible beyond the catalogue's smallest and largest: another maker's part, and wear.
ROOM = 0.3
WORN_ROOM = 0.6
COLUMNS = {
    "diameter_mm": ("rotors", "diameter_mm"),
    "thickness_mm": ("rotors", "thickness_mm"),
    "min_thickness_mark_mm": ("rotors", "thickness_mm"),
    "height_mm": ("rotors", "height_mm"),
    "centre_bore_mm": ("rotors", "centre_bore_mm"),
    "bolt_circle_mm": ("rotors", "bolt_circle_mm"),
    "ring_inner_mm": ("rotors", "ring_inner_mm"),
    "hat_mm": ("rotors", "hat_mm"),
    "pad_height_mm": ("pads", "height_mm"),
    "pad_length_mm": ("pads", "length_mm"),
    "mass_kg": ("rotors", "mass_kg"),
}
FIXED = {"wheel_in": (10.0, 26.0), "bolt_count": (3, 10), "pistons": (1, 12)}
_WEARS = ("thickness_mm", "min_thickness_mark_mm")


@dataclass(frozen=True)
class Bounds:
    """Between which values an answer is possible, in the evidence key's own unit."""

    low: float
    high: float


def bounds_of(catalogue: Catalogue) -> dict[str, Bounds]:
    """Return the bounds of every evidence key that has any."""
    bounds = {key: Bounds(*ends) for key, ends in FIXED.items()}
    for key, (table, column) in COLUMNS.items():
        known = [float(number) for number in getattr(getattr(catalogue, table), column) if math.isfinite(number)]
        if known:
            room = WORN_ROOM if key in _WEARS else ROOM
            bounds[key] = Bounds(round(min(known) * (1 - room), 1), round(max(known) * (1 + ROOM), 1))
    if "diameter_mm" in bounds:
        across = bounds["diameter_mm"]
        bounds["circumference_mm"] = Bounds(round(math.pi * across.low), round(math.pi * across.high))
    return bounds


def fault_of(question: Question, text: str, unit: Unit, bounds: Bounds | None) -> str:
    """Return why ``text`` can't be an answer, with what is plausible; empty where it can."""
    try:
        for part in text.split(";") if question.key == "thickness_mm" else [text]:
            fault = _out_of_bounds(question, part.strip(), unit, bounds)
            if fault:
                return fault
    except ValueError as wrong:
        return str(wrong)
    return ""


def read_number(question: Question, text: str, unit: Unit) -> float:
    """Return the number that ``text`` says, in the evidence key's own unit.

    Raises
    ------
    ValueError
        One line: what came, what it may look like.
    """
    if question.kind == "length":
        return read_length(text, unit)
    try:
        number = float(text.replace(",", ".").removesuffix("kg").removesuffix("in").strip())
    except ValueError:
        raise ValueError(f"“{text}” is no number") from None
    if question.kind == "count" and number != int(number):
        raise ValueError(f"“{text}” can't be counted; write a whole number")
    return number


def _out_of_bounds(question: Question, text: str, unit: Unit, bounds: Bounds | None) -> str:
    if question.kind in ("choice", "text"):
        return ""
    number = read_number(question, text, unit)
    if bounds is None or bounds.low <= number <= bounds.high:
        return ""
    said = show_value(question, number, unit)
    low, high = show_value(question, bounds.low, unit), show_value(question, bounds.high, unit)
    return f"{said} can't be right: {low} to {high} is plausible here.{_other_unit_fits(question, text, unit, bounds)}"


def _other_unit_fits(question: Question, text: str, unit: Unit, bounds: Bounds) -> str:
    if question.kind != "length" or not text.replace(".", "").replace(",", "").isdigit():
        return ""
    other = other_unit(unit)
    fits = bounds.low <= read_length(text, other) <= bounds.high
    return f" Is it {text} {other}? Then write the unit with it." if fits else ""


def show_value(question: Question, number: float, unit: Unit) -> str:
    """Return a number of ``question`` as text with its unit."""
    if question.kind == "length":
        return show_length(number, unit)
    return f"{number:g}{ {'mass': ' kg', 'inches': ' in'}.get(question.kind, '') }"
