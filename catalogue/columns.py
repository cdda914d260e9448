"""What the columns of each CSV file hold: the one table that loading goes by."""

from collections.abc import Mapping
from dataclasses import dataclass
from types import MappingProxyType
from typing import Literal

from catalogue.schema import (
    AXLES,
    CONSTRUCTIONS,
    MATERIALS,
    MOUNTS,
    OFFERS,
    PARKING_BRAKES,
    SURFACES,
    VENTILATIONS,
    YES_NO,
)

Kind = Literal["text", "marks", "number", "share", "whole", "year", "month", "word"]


@dataclass(frozen=True, slots=True)
class Column:
    """One column.

    Attributes
    ----------
    name : str
        As in the header row.
    kind : str
        ``text``; ``marks``: texts with ``;`` between; ``number``: over 0; ``share``: 0 or more; ``whole``: a whole
        number over 0; ``year``; ``month``: YYYY-MM; ``word``: one of ``words``.
    required : bool
        Whether each cell must be filled.
    words : tuple of str
        Of a word.
    """

    name: str
    kind: Kind = "text"
    required: bool = False
    words: tuple[str, ...] = ()


def _words(name: str, words: tuple[str, ...], *, required: bool = False) -> Column:
    return Column(name, "word", required, words)


def _numbers(*names: str) -> tuple[Column, ...]:
    return tuple(Column(name, "number") for name in names)


COLUMNS: Mapping[str, tuple[Column, ...]] = MappingProxyType(
    {
        "rotors.csv": (
            Column("part", required=True),
            Column("diameter_mm", "number", required=True),
            Column("thickness_mm", "number", required=True),
            *_numbers("min_thickness_mm", "machine_to_mm", "height_mm", "centre_bore_mm"),
            Column("bolt_count", "whole"),
            *_numbers("bolt_circle_mm", "ring_inner_mm", "hat_mm"),
            _words("ventilation", VENTILATIONS),
            _words("construction", CONSTRUCTIONS),
            _words("surface", SURFACES),
            _words("material", MATERIALS),
            Column("mass_kg", "number"),
            Column("marks", "marks"),
        ),
        "pads.csv": (
            Column("part", required=True),
            *_numbers("height_mm", "length_mm", "thickness_mm"),
            _words("wear_sensor", YES_NO),
            Column("shape_number"),
            Column("marks", "marks"),
        ),
        "calipers.csv": (
            Column("caliper", required=True),
            _words("mount", MOUNTS),
            Column("pistons", "whole"),
            _words("parking_brake", PARKING_BRAKES),
            Column("colours", "marks"),
        ),
        "packages.csv": (
            Column("package", required=True),
            Column("package_name"),
            _words("axle", AXLES, required=True),
            Column("rotor", required=True),
            Column("rotor_right"),
            Column("pads", required=True),
            Column("caliper", required=True),
            Column("min_wheel_in", "number"),
        ),
        "fitments.csv": (
            Column("line", required=True),
            Column("model", required=True),
            Column("year_from", "year", required=True),
            Column("year_to", "year"),
            Column("built_from", "month"),
            Column("built_to", "month"),
            Column("package", required=True),
            Column("option_code"),
            _words("offered", OFFERS),
            Column("share", "share"),
            Column("cars", "share"),
        ),
        "extras.csv": (
            Column("package", required=True),
            _words("axle", AXLES, required=True),
            Column("kind", required=True),
            Column("part", required=True),
            Column("quantity", "whole"),
            Column("note"),
        ),
        "alternatives.csv": (
            Column("part", required=True),
            Column("replaces", required=True),
            _words("surface", SURFACES),
            Column("note"),
        ),
    }
)

OPTIONAL_FILES = frozenset({"extras.csv", "alternatives.csv"})
