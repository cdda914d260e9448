"""Reads a length or a mass as people write it: a number, or a text with its unit, fractions of an inch too."""

import math
import re
from collections.abc import Mapping
from types import MappingProxyType
from typing import Any

from catalogue.faults import EvidenceError

MM_PER_INCH = 25.4
KG_PER_POUND = 0.45359237

LARGEST = 1e6
"""No part of a car measures or weighs as much, in any unit."""

LENGTH_UNITS: Mapping[str, float] = MappingProxyType(
    {"mm": 1.0, "cm": 10.0, "in": MM_PER_INCH, "inch": MM_PER_INCH, "inches": MM_PER_INCH, '"': MM_PER_INCH}
)
MASS_UNITS: Mapping[str, float] = MappingProxyType({"kg": 1.0, "g": 0.001, "lb": KG_PER_POUND, "lbs": KG_PER_POUND})
INCH_UNITS: Mapping[str, float] = MappingProxyType({"in": 1.0, "inch": 1.0, "inches": 1.0, '"': 1.0})

_QUANTITY = re.compile(
    r"(?:(?P<whole>\d+)[ -]+)?(?P<above>\d+)/(?P<below>\d+)\s*(?P<unit_f>[a-z\"]+)\Z"
    r"|(?P<number>\d+(?:[.,]\d+)?|[.,]\d+)\s*(?P<unit>[a-z\"]+)\Z",
    re.IGNORECASE | re.ASCII,
)
_GROUPED = re.compile(r"\d{1,3},\d{3}\Z", re.ASCII)


def read_quantity(value: Any, where: str, units: Mapping[str, float]) -> float:
    """Return a positive quantity in its base unit.

    Parameters
    ----------
    value : float, int or str
        A number counts in the base unit (factor 1); a text carries its unit: ``"317 mm"``, ``"12 63/64 in"``.
    where : str
        Name of the evidence, for the error.
    units : mapping of str to float
        Unit to its factor.

    Raises
    ------
    EvidenceError
        For anything that is not a finite quantity over 0.
    """
    base = next(iter(units))
    if isinstance(value, bool) or not isinstance(value, int | float | str):
        raise EvidenceError(f"{where}: wanted a number in {base} or a text such as '12 {base}', got {value!r}")
    try:
        quantity = _read_text(value.strip(), where, units) if isinstance(value, str) else float(value)
    except OverflowError:
        quantity = math.inf
    if not quantity > 0:
        raise EvidenceError(f"{where}: wanted more than 0 {base}, got {value!r}")
    if quantity >= LARGEST:
        raise EvidenceError(f"{where}: wanted less than {LARGEST:g} {base}, got {str(value)[:40]}")
    return quantity


def _read_text(text: str, where: str, units: Mapping[str, float]) -> float:
    found = _QUANTITY.match(text)
    names = ", ".join(units)
    if found is None:
        raise EvidenceError(f"{where}: wanted a number with its unit ({names}), got {text!r}")
    unit = (found["unit"] or found["unit_f"]).lower()
    if unit not in units:
        raise EvidenceError(f"{where}: wanted one of the units {names}, got {text!r}")
    if found["below"]:
        if int(found["below"]) == 0:
            raise EvidenceError(f"{where}: wanted a fraction with something under its line, got {text!r}")
        return (int(found["whole"] or 0) + int(found["above"]) / int(found["below"])) * units[unit]
    if _GROUPED.match(found["number"]):
        raise EvidenceError(f"{where}: wanted a decimal point, the comma may mean thousands, got {text!r}")
    return float(found["number"].replace(",", ".")) * units[unit]
