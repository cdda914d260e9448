"""Reads evidence, as the contract writes it, into what was observed."""

import re
from collections.abc import Callable, Mapping
from typing import Any, cast

from catalogue.faults import EvidenceError
from catalogue.measured import BOLT_COUNTS, SEEN_WORDS, read_measurement
from catalogue.observation import (
    LENGTHS,
    PAD_LENGTHS,
    PARTS,
    TOOLS,
    AxleEvidence,
    Evidence,
    EvidenceAxle,
    Part,
    Reading,
    Vehicle,
)
from catalogue.schema import MOUNTS, PARKING_BRAKES, month_number
from catalogue.units import INCH_UNITS, LENGTH_UNITS, MASS_UNITS, read_quantity
from catalogue.wire import (
    read_list,
    read_object,
    read_probabilities,
    read_text,
    read_whole,
    read_word,
    refuse_unknown_keys,
)

AXLE_NAMES = ("front", "rear", "unknown")
YEARS = (1885, 2100)
PISTONS = (1, 16)

TOLD_WORDS = SEEN_WORDS | {"caliper_mount": MOUNTS, "parking_brake": PARKING_BRAKES}

_MONTH = re.compile(r"(\d{4})-(0[1-9]|1[0-2])\Z", re.ASCII)


def read_evidence(document: Mapping[str, Any]) -> Evidence:
    """Read evidence.

    Parameters
    ----------
    document : mapping
        The contract's evidence, as read from JSON. ``null`` is the same as absent.

    Returns
    -------
    Evidence

    Raises
    ------
    EvidenceError
        One line: where, what is wanted there, what came.
    """
    top = read_object(document, "evidence")
    refuse_unknown_keys(top, ("vehicle", "option_codes", "vin", "axles", "wanted"), "")
    axles = _read_axles(top.get("axles", {}))
    codes = [read_text(code, "option_codes") for code in read_list(top.get("option_codes", []), "option_codes")]
    return Evidence(
        vehicle=_read_vehicle(top.get("vehicle", {})),
        option_codes=tuple(dict.fromkeys(codes)),
        vin=read_text(top["vin"], "vin") if "vin" in top else None,
        axles=axles,
        wanted=_read_wanted(top.get("wanted"), tuple(axles)),
    )


def _read_vehicle(value: Any) -> Vehicle:
    vehicle = read_object(value, "vehicle")
    refuse_unknown_keys(vehicle, ("line", "model", "year", "built"), "vehicle")
    return Vehicle(
        line=read_text(vehicle["line"], "vehicle.line") if "line" in vehicle else None,
        model=read_text(vehicle["model"], "vehicle.model") if "model" in vehicle else None,
        year=read_whole(vehicle["year"], YEARS, "vehicle.year") if "year" in vehicle else None,
        built=_read_month(vehicle["built"], "vehicle.built") if "built" in vehicle else None,
    )


def _read_month(value: Any, where: str) -> int:
    found = _MONTH.match(read_text(value, where))
    if found is None:
        raise EvidenceError(f"{where}: wanted a month as YYYY-MM, got {value!r}")
    return month_number(int(found[1]), int(found[2]))


def _read_wanted(value: Any, observed: tuple[EvidenceAxle, ...]) -> tuple[tuple[EvidenceAxle, Part], ...]:
    """Return what is wanted: where nothing is said or named, both parts of each axle with evidence."""
    if value is None or value == []:
        return tuple((axle, part) for axle in observed for part in PARTS)
    wanted = []
    for number, each in enumerate(read_list(value, "wanted")):
        where = f"wanted[{number}]"
        pair = read_object(each, where)
        refuse_unknown_keys(pair, ("axle", "part"), where)
        axle = read_word(pair.get("axle"), AXLE_NAMES, f"{where}.axle")
        wanted.append((axle, read_word(pair.get("part"), PARTS, f"{where}.part")))
    return cast("tuple[tuple[EvidenceAxle, Part], ...]", tuple(dict.fromkeys(wanted)))


def _read_axles(value: Any) -> dict[EvidenceAxle, AxleEvidence]:
    axles = read_object(value, "axles")
    refuse_unknown_keys(axles, AXLE_NAMES, "axles")
    read = {axle: _read_axle(axles[axle], f"axles.{axle}") for axle in AXLE_NAMES if axle in axles}
    return cast("dict[EvidenceAxle, AxleEvidence]", {axle: each for axle, each in read.items() if each is not None})


def _read_axle(value: Any, where: str) -> AxleEvidence | None:
    axle = read_object(value, where)
    refuse_unknown_keys(axle, _KNOWN, where)
    if not axle:
        return None
    lengths = {key: _read_reading(axle[key], f"{where}.{key}") for key in _ROTOR_LENGTHS if key in axle}
    pad_lengths = {key: _read_reading(axle[key], f"{where}.{key}") for key in PAD_LENGTHS if key in axle}
    words, seen = _read_kinds(axle, where)
    rest = {field: read(axle[key], f"{where}.{key}") for key, (field, read) in _FIELDS.items() if key in axle}
    return AxleEvidence(lengths=lengths, pad_lengths=pad_lengths, words=words, seen=seen, **rest)


def _read_kinds(axle: Mapping[str, Any], where: str) -> tuple[dict[str, str], dict[str, dict[str, float]]]:
    """Return what was told as one word, and what was seen as a table of probabilities."""
    words: dict[str, str] = {}
    seen: dict[str, dict[str, float]] = {}
    for key in TOLD_WORDS:
        if key in SEEN_WORDS and isinstance(axle.get(key), Mapping):
            seen[key] = read_probabilities(axle[key], SEEN_WORDS[key], f"{where}.{key}")
        elif key in axle:
            words[key] = read_word(axle[key], TOLD_WORDS[key], f"{where}.{key}")
    return words, seen


def _read_reading(value: Any, where: str, units: Mapping[str, float] = LENGTH_UNITS) -> Reading:
    if not isinstance(value, Mapping):
        return Reading(read_quantity(value, where, units))
    document = read_object(value, where)
    refuse_unknown_keys(document, ("value", "std", "tool"), where)
    if "value" not in document:
        raise EvidenceError(f"{where}.value: wanted the number that was read, got nothing")
    return Reading(
        read_quantity(document["value"], f"{where}.value", units),
        read_quantity(document["std"], f"{where}.std", units) if "std" in document else None,
        read_word(document["tool"], TOOLS, f"{where}.tool") if "tool" in document else None,
    )


def _read_thickness(value: Any, where: str) -> tuple[Reading, ...]:
    if not isinstance(value, list | tuple):
        return (_read_reading(value, where),)
    if not value:
        raise EvidenceError(f"{where}: wanted at least one reading in the list, got an empty one")
    return tuple(_read_reading(each, f"{where}[{number}]") for number, each in enumerate(value))


def _read_mass(value: Any, where: str) -> Reading:
    return _read_reading(value, where, MASS_UNITS)


def _read_length(value: Any, where: str) -> float:
    return read_quantity(value, where, LENGTH_UNITS)


def _read_inches(value: Any, where: str) -> float:
    return read_quantity(value, where, INCH_UNITS)


def _read_measurements(value: Any, where: str) -> tuple[Any, ...]:
    return tuple(read_measurement(each, f"{where}[{number}]") for number, each in enumerate(read_list(value, where)))


def _one_of(*words: str) -> Callable[[Any, str], str]:
    return lambda value, where: read_word(value, words, where)


def _whole_within(limits: tuple[int, int]) -> Callable[[Any, str], int]:
    return lambda value, where: read_whole(value, limits, where)


_ROTOR_LENGTHS = (*LENGTHS, "circumference_mm")

_FIELDS: dict[str, tuple[str, Callable[[Any, str], Any]]] = {
    "thickness_mm": ("thickness_mm", _read_thickness),
    "thickness_over": ("thickness_over", _one_of("swept", "lip", "unknown")),
    "condition": ("condition", _one_of("new", "used", "unknown")),
    "min_thickness_mark_mm": ("min_mark_mm", _read_length),
    "mark_kind": ("mark_kind", _one_of("discard", "machine-to", "unknown")),
    "mass_kg": ("mass_kg", _read_mass),
    "rotor_mark": ("rotor_mark", read_text),
    "pad_mark": ("pad_mark", read_text),
    "pad_shape_number": ("pad_shape_number", read_text),
    "wheel_in": ("wheel_in", _read_inches),
    "bolt_count": ("bolt_count", _whole_within(BOLT_COUNTS)),
    "pistons": ("pistons", _whole_within(PISTONS)),
    "caliper_colour": ("caliper_colour", read_text),
    "measurements": ("measurements", _read_measurements),
}
"""Key of the contract to the field of ``AxleEvidence`` and its reader."""

_KNOWN = frozenset({*_ROTOR_LENGTHS, *PAD_LENGTHS, *TOLD_WORDS, *_FIELDS})
