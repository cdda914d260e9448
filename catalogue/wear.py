"""How much of a rotor's usable thickness is left, and what may be said of using it again or machining it."""

import math
from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any, Literal

from catalogue.care import CUT_SURFACES
from catalogue.schema import Rotor

CUT_MM = 0.3
"""What machining takes off both faces together, mm; common practice for a light cut of 0.15 mm a face."""

CLOSE_STDS = 2.0
"""Within so many standard deviations of the minimum a reading cannot say on which side it lies."""

VARIATION_LIMIT_MM = (0.005, 0.03)
"""Thickness variation that workshop manuals allow in service, lowest and highest of those read, mm."""

Reuse = Literal["no", "too close", "look", "unknown"]
Machining = Literal["no", "could be", "unknown"]


@dataclass(frozen=True, slots=True)
class WearLimits:
    """The figures that bound a rotor's wear; the marking on the part prevails over the catalogue.

    Attributes
    ----------
    new_mm : float
        Thickness of the new ring, mm.
    discard_mm : float or None
        Discard thickness, mm.
    machine_to_mm : float or None
        Least thickness after machining, mm.
    surface, material : str or None
        Of the part in hand.
    """

    new_mm: float
    discard_mm: float | None = None
    machine_to_mm: float | None = None
    surface: str | None = None
    material: str | None = None

    @classmethod
    def of(cls, rotor: Rotor) -> "WearLimits":
        """Return the catalogue's figures for a rotor."""
        return cls(rotor.thickness_mm, rotor.min_thickness_mm, rotor.machine_to_mm, rotor.surface, rotor.material)


@dataclass(frozen=True, slots=True)
class WearReport:
    """What the readings say of the wear.

    Attributes
    ----------
    axle : str
        front, rear or unknown.
    thinnest_mm : float
        The thinnest reading, mm: it decides.
    variation_mm : float or None
        Thickest less thinnest, mm; None for a single reading.
    left, left_std : float or None
        Share of the usable thickness left, 0 to 1, and its standard deviation; None without a discard thickness.
    reuse : {"no", "too close", "look", "unknown"}
        ``no``: at or under the minimum. ``look``: above it, and the rest is for a person to look at.
    machining : {"no", "could be", "unknown"}
        Whether the rotor could be machined as designed.
    text : str
        The same in sentences.
    """

    axle: str
    thinnest_mm: float
    variation_mm: float | None
    left: float | None
    left_std: float | None
    reuse: Reuse
    machining: Machining
    text: str

    def to_json(self) -> dict[str, Any]:
        """Return the wire form; what is not known is left out."""
        answer = {
            "axle": self.axle,
            "thinnest_mm": round(self.thinnest_mm, 3),
            "variation_mm": None if self.variation_mm is None else round(self.variation_mm, 4),
            "left": None if self.left is None else round(self.left, 3),
            "left_std": None if self.left_std is None else round(self.left_std, 3),
            "reuse": self.reuse,
            "machining": self.machining,
            "text": self.text,
        }
        return {key: value for key, value in answer.items() if value is not None}


def wear_report(
    limits: WearLimits, readings_mm: Sequence[float], *, axle: str, reading_std_mm: float, cut_mm: float = CUT_MM
) -> WearReport:
    """Say what is left of a rotor.

    Parameters
    ----------
    limits : WearLimits
        Of the settled rotor. Figures read off the part take the place of the catalogue's.
    readings_mm : sequence of float, N >= 1
        Thickness of the swept ring at one or several places, mm. Readings over the unworn lip don't belong here.
    axle : str
        front, rear or unknown.
    reading_std_mm : float
        Standard deviation of one reading, mm; > 0.
    cut_mm : float, optional
        What machining would take off both faces together, mm.

    Returns
    -------
    WearReport

    Raises
    ------
    ValueError
        Without a reading, or for a reading, deviation or cut that is not a positive number.
    """
    _check(readings_mm, reading_std_mm, cut_mm)
    thinnest_mm = min(readings_mm)
    variation_mm = max(readings_mm) - thinnest_mm if len(readings_mm) > 1 else None
    left, left_std = _left(limits, thinnest_mm, reading_std_mm)
    reuse, reuse_text = _reuse(limits.discard_mm, thinnest_mm, reading_std_mm)
    machining, machining_text = _machining(limits, thinnest_mm, cut_mm, reuse)
    texts = (_left_text(limits, thinnest_mm, left), reuse_text, _variation_text(variation_mm), machining_text)
    text = " ".join(sentence for sentence in texts if sentence)
    return WearReport(axle, thinnest_mm, variation_mm, left, left_std, reuse, machining, text)


def _check(readings_mm: Sequence[float], reading_std_mm: float, cut_mm: float) -> None:
    if not readings_mm:
        raise ValueError("readings_mm: needs at least one thickness in mm, got none")
    named = [("readings_mm", reading) for reading in readings_mm]
    for name, value in [*named, ("reading_std_mm", reading_std_mm), ("cut_mm", cut_mm)]:
        if not (math.isfinite(value) and value > 0):
            raise ValueError(f"{name}: needs positive millimetres, got {value!r}")


def _left(limits: WearLimits, thinnest_mm: float, std_mm: float) -> tuple[float | None, float | None]:
    if limits.discard_mm is None or limits.discard_mm >= limits.new_mm:
        return None, None
    usable_mm = limits.new_mm - limits.discard_mm
    return min(max((thinnest_mm - limits.discard_mm) / usable_mm, 0.0), 1.0), std_mm / usable_mm


def _left_text(limits: WearLimits, thinnest_mm: float, left: float | None) -> str:
    if left is None:
        return f"{thinnest_mm:.2f} mm at its thinnest; without a discard thickness the share left is not known."
    return (
        f"{thinnest_mm:.2f} mm at its thinnest, {left:.0%} of the usable thickness left "
        f"(new {limits.new_mm:g}, discard {limits.discard_mm:g})."
    )


def _reuse(discard_mm: float | None, thinnest_mm: float, std_mm: float) -> tuple[Reuse, str]:
    if discard_mm is None:
        return "unknown", "Read the minimum stamped on the hat or the rim before it is used again."
    if thinnest_mm <= discard_mm:
        return "no", "At or under the minimum: not to be used again or sold."
    if thinnest_mm - discard_mm < CLOSE_STDS * std_mm:
        return "too close", (
            f"Within the error of this reading ({std_mm:g} mm) of the minimum: measure again with a micrometer, "
            "inside the lip, at several places; until then not to be used again or sold."
        )
    return "look", (
        "Above the minimum; that is not yet fit for use: cracks, heat marks, pitting and run-out are for a person "
        "to look at."
    )


def _variation_text(variation_mm: float | None) -> str:
    if variation_mm is None:
        return ""
    low_mm, high_mm = VARIATION_LIMIT_MM
    return (
        f"Thickness varies by {variation_mm:.3f} mm round the ring (manuals allow {low_mm:g} to {high_mm:g}; "
        "only a micrometer tells that)."
    )


def _machining(limits: WearLimits, thinnest_mm: float, cut_mm: float, reuse: Reuse) -> tuple[Machining, str]:
    if reuse == "no":
        return "no", "Not to be machined: there is nothing left to take off."
    if limits.surface in CUT_SURFACES:
        return "no", f"Not to be machined: the face is {limits.surface}, only plain iron is."
    if limits.material in {"coated", "carbon-ceramic"}:
        return "no", f"Not to be machined: the ring is {limits.material}, only plain iron is."
    if limits.machine_to_mm is None or limits.surface is None or limits.material is None:
        return "unknown", "No verdict on machining: it takes a plain iron ring and a machine-to figure, both known."
    after_mm = thinnest_mm - cut_mm
    if after_mm < limits.machine_to_mm:
        return "no", f"Not to be machined: {after_mm:.2f} mm would be left, under {limits.machine_to_mm:g}."
    return "could be", (
        f"Could be machined: {after_mm:.2f} mm left after a cut of {cut_mm:g}, at or above {limits.machine_to_mm:g}."
    )
