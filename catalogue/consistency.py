"""What the rows of a catalogue may not say of each other: repeated keys, and figures that contradict one another."""

from collections.abc import Sequence
from typing import Any

import numpy as np

from catalogue.columns import COLUMNS
from catalogue.faults import Fault
from catalogue.table import HEADER_ROW, Table

KEYS = {
    "rotors.csv": ("part",),
    "pads.csv": ("part",),
    "calipers.csv": ("caliper",),
    "packages.csv": ("package", "axle"),
}

FIRST_ROW = HEADER_ROW + 1

_UNDER = (
    ("min_thickness_mm", "thickness_mm"),
    ("machine_to_mm", "thickness_mm"),
    ("ring_inner_mm", "diameter_mm"),
    ("hat_mm", "diameter_mm"),
    ("centre_bore_mm", "diameter_mm"),
    ("bolt_circle_mm", "diameter_mm"),
    ("centre_bore_mm", "bolt_circle_mm"),
)
"""Pairs of columns of rotors.csv, the first of which is less than the second on any rotor."""


def check_keys(tables: dict[str, Table], faults: list[Fault]) -> None:
    """Note each repeated key, with the cells in which its rows differ."""
    for file, names in KEYS.items():
        table = tables[file]
        columns = [_listed(table[name]) for name in names]
        first: dict[Any, int] = {}
        for row, key in enumerate(zip(*columns, strict=True)):
            before = first.setdefault(key, row)
            if before != row and all(cell not in ("", -1) for cell in key):
                faults.append(_repeated(table, names, (before, row)))


def check_consistency(tables: dict[str, Table], faults: list[Fault]) -> None:
    """Note figures of one row, and shares of one model, that cannot all be right."""
    rotors = tables["rotors.csv"]
    for less, more in _UNDER:
        wrong = np.flatnonzero(rotors[less] >= rotors[more])
        _blame(rotors, wrong, less, (f"less than {more}", more), faults)
    lower = np.flatnonzero(rotors["machine_to_mm"] < rotors["min_thickness_mm"])
    _blame(rotors, lower, "machine_to_mm", ("min_thickness_mm or more", "min_thickness_mm"), faults)
    lower = np.flatnonzero(rotors["height_mm"] < rotors["thickness_mm"])
    _blame(rotors, lower, "height_mm", ("thickness_mm or more", "thickness_mm"), faults)
    _check_fitments(tables["fitments.csv"], faults)


def _check_fitments(fitments: Table, faults: list[Fault]) -> None:
    wrong = np.flatnonzero(fitments["year_to"] < fitments["year_from"])
    _blame(fitments, wrong, "year_to", ("year_from or later", "year_from"), faults)
    both = (fitments["built_from"] >= 0) & (fitments["built_to"] >= 0)
    wrong = np.flatnonzero(both & (fitments["built_to"] < fitments["built_from"]))
    _blame(fitments, wrong, "built_to", ("built_from or later", ""), faults)


def _repeated(table: Table, names: Sequence[str], rows: tuple[int, int]) -> Fault:
    before, row = rows
    others = [column.name for column in COLUMNS[table.file] if column.name not in names]
    differing = [name for name in others if not _same(table[name][before], table[name][row])]
    key = " ".join(_shown(table, name, row) for name in names)
    cells = [f"{name} ({_shown(table, name, before)} and {_shown(table, name, row)})" for name in differing]
    difference = "they differ in " + ", ".join(cells) if cells else "every cell is the same"
    got = f"{key!r} again, as in row {before + FIRST_ROW}; {difference}"
    return Fault(table.file, row + FIRST_ROW, "+".join(names), "each key once", got)


def _blame(table: Table, rows: Any, column: str, wanted: tuple[str, str], faults: list[Fault]) -> None:
    text, other = wanted
    for row in rows:
        known = f"{text} ({table[other][row]:g})" if other else text
        faults.append(Fault(table.file, int(row) + FIRST_ROW, column, known, _shown(table, column, row)))


def _shown(table: Table, name: str, row: int) -> str:
    """Return a cell as a person would write it."""
    column = next(column for column in COLUMNS[table.file] if column.name == name)
    value = table[name][row]
    if column.kind == "word":
        return column.words[value] if value >= 0 else "nothing"
    if column.kind == "marks":
        return ";".join(value) or "nothing"
    if column.kind == "month":
        return f"{value // 12:04d}-{value % 12 + 1:02d}" if value >= 0 else "nothing"
    if column.kind == "text":
        return str(value) or "nothing"
    return "nothing" if np.isnan(value) else f"{value:g}"


def _same(one: Any, other: Any) -> bool:
    return bool(one == other) or (one != one and other != other)  # NaN is not itself


def _listed(column: Any) -> list[Any]:
    listed: list[Any] = column.tolist() if isinstance(column, np.ndarray) else column
    return listed
