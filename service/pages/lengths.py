"""Lengths as people read and write them: millimetres inside, the reader's unit outside."""

from typing import Literal

from catalogue.faults import EvidenceError
from catalogue.units import LENGTH_UNITS, MM_PER_INCH, read_quantity

Unit = Literal["mm", "in"]


def show_length(length_mm: float, unit: Unit) -> str:
    """Return a length as text, to a tenth of a millimetre or a thousandth of an inch.

    >>> show_length(330.14, "mm"), show_length(330.2, "in")
    ('330.1 mm', '13.000 in')
    """
    if unit == "mm":
        return f"{length_mm:.1f}".removesuffix(".0") + " mm"
    return f"{length_mm / MM_PER_INCH:.3f} in"


def read_length(text: str, unit: Unit) -> float:
    """Return the millimetres that ``text`` says, in its own unit or, where it names none, in ``unit``.

    Raises
    ------
    ValueError
        One line with what a length may look like.
    """
    said = text.strip().replace("″", '"')
    bare = bool(said) and said[-1].isdigit()
    try:
        return read_quantity(f"{said} {unit}" if bare else said, "length", LENGTH_UNITS)
    except EvidenceError:
        raise ValueError(f"“{text}” is no length; write it like 330, 23.2 mm, 13 in or 12 63/64 in") from None


def other_unit(unit: Unit) -> Unit:
    """Return the unit a typing slip would have meant."""
    return "in" if unit == "mm" else "mm"
