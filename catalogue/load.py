"""Loads a catalogue's folder, and finds every fault in it before anything is ranked by it."""

import gc
from collections.abc import Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any

import numpy as np

from catalogue.columns import COLUMNS
from catalogue.consistency import check_consistency, check_keys
from catalogue.faults import CatalogueError, Fault
from catalogue.schema import (
    AXLES,
    STILL_MADE,
    SURFACES,
    UNKNOWN,
    Alternative,
    Calipers,
    Catalogue,
    Extra,
    Fitments,
    IntArray,
    PackageAxles,
    PadTable,
    Rotors,
)
from catalogue.table import HEADER_ROW, Table, read_table

DEMO = Path(__file__).with_name("demo")


@contextmanager
def _collector_paused() -> Iterator[None]:
    """Keep the cycle collector from walking the fresh rows again and again: no cycle is among them."""
    enabled = gc.isenabled()
    gc.disable()
    try:
        yield
    finally:
        if enabled:
            gc.enable()


@_collector_paused()
def load_catalogue(folder: Path | None = None) -> Catalogue:
    """Load the catalogue in ``folder``.

    Parameters
    ----------
    folder : Path, optional
        Holds the CSV files of the contract; the demo catalogue where not given.

    Returns
    -------
    Catalogue

    Raises
    ------
    CatalogueError
        With every fault: file, row, column, what was wanted and what stands there.
    """
    folder = DEMO if folder is None else folder
    faults: list[Fault] = []
    if not folder.is_dir():
        raise CatalogueError([Fault(str(folder), 0, "", "a folder with the catalogue's CSV files", "no such folder")])
    tables = {file: read_table(folder, file, faults) for file in COLUMNS}
    if any(fault.row <= HEADER_ROW for fault in faults):
        raise CatalogueError(faults)  # without all columns the rows say nothing of each other
    check_keys(tables, faults)
    catalogue = _assemble(folder.resolve().name, tables, faults)
    check_consistency(tables, faults)
    if faults:
        raise CatalogueError(sorted(faults, key=lambda fault: (list(COLUMNS).index(fault.file), fault.row)))
    return catalogue


def _assemble(name: str, tables: dict[str, Table], faults: list[Fault]) -> Catalogue:
    rotors, pads, calipers = _rotors(tables["rotors.csv"]), _pads(tables["pads.csv"]), _calipers(tables["calipers.csv"])
    packages = _packages(tables["packages.csv"], (rotors, pads, calipers), faults)
    fitments = _fitments(tables["fitments.csv"], packages, faults)
    if not len(fitments):
        faults.append(Fault("fitments.csv", 0, "", "at least one fitment", "none"))
    extras, alternatives = tables["extras.csv"], tables["alternatives.csv"]
    _refer(extras, "package", packages.index, "packages.csv", faults)
    replaceable = rotors.index | pads.index | calipers.index | dict.fromkeys(extras["part"], 0)
    _refer(alternatives, "replaces", replaceable, "rotors.csv, pads.csv, calipers.csv or extras.csv", faults)
    notices = tuple(notice for table in tables.values() for notice in table.notices)
    return Catalogue(
        name, rotors, pads, calipers, packages, fitments, _extras(extras), _alternatives(alternatives), notices
    )


def _rotors(table: Table) -> Rotors:
    columns = dict(table.columns)
    return Rotors(part=tuple(columns.pop("part")), marks=tuple(columns.pop("marks")), **columns)


def _pads(table: Table) -> PadTable:
    columns = dict(table.columns)
    for name in ("part", "marks", "shape_number"):
        columns[name] = tuple(columns[name])
    return PadTable(**columns)


def _calipers(table: Table) -> Calipers:
    columns = dict(table.columns)
    return Calipers(caliper=tuple(columns.pop("caliper")), colours=tuple(columns.pop("colours")), **columns)


def _packages(table: Table, parts: tuple[Rotors, PadTable, Calipers], faults: list[Fault]) -> PackageAxles:
    rotors, pads, calipers = parts
    keys, key = _distinct(table["package"])
    row = np.full((len(keys), len(AXLES)), UNKNOWN)
    axle = table["axle"]
    known = np.flatnonzero(axle != UNKNOWN)
    row[key[known], axle[known]] = known
    return PackageAxles(
        keys=keys,
        key=key,
        name=tuple(table["package_name"]),
        axle=axle,
        rotor=_refer(table, "rotor", rotors.index, "rotors.csv", faults),
        rotor_right=_refer(table, "rotor_right", rotors.index, "rotors.csv", faults),
        pads=_refer(table, "pads", pads.index, "pads.csv", faults),
        caliper=_refer(table, "caliper", calipers.index, "calipers.csv", faults),
        min_wheel_in=table["min_wheel_in"],
        row=row,
    )


def _fitments(table: Table, packages: PackageAxles, faults: list[Fault]) -> Fitments:
    lines, _ = _distinct(table["line"])
    models, model = _distinct(list(zip(table["line"], table["model"], strict=True)))
    codes, code = _distinct(table["option_code"], nothing="")
    line_number = {line: number for number, line in enumerate(lines)}
    return Fitments(
        lines=lines,
        models=models,
        model_line=np.array([line_number[line] for line, _ in models], dtype=np.int64),
        model=model,
        year_from=_whole(table["year_from"], 0),
        year_to=_whole(table["year_to"], STILL_MADE),
        built_from=table["built_from"],
        built_to=table["built_to"],
        package=_refer(table, "package", packages.index, "packages.csv", faults),
        codes=codes,
        code=code,
        offered=table["offered"],
        share=table["share"],
        cars=table["cars"],
    )


def _extras(table: Table) -> tuple[Extra, ...]:
    quantity = _whole(table["quantity"], UNKNOWN)
    rows = zip(table["package"], table["axle"], table["kind"], table["part"], quantity, table["note"], strict=True)
    return tuple(
        Extra(package, AXLES[axle], kind, part, None if count == UNKNOWN else int(count), note)
        for package, axle, kind, part, count, note in rows
    )


def _alternatives(table: Table) -> tuple[Alternative, ...]:
    rows = zip(table["part"], table["replaces"], table["surface"], table["note"], strict=True)
    return tuple(
        Alternative(part, replaces, None if surface == UNKNOWN else SURFACES[surface], note)
        for part, replaces, surface, note in rows
    )


def _distinct(values: Sequence[Any], nothing: Any = None) -> tuple[tuple[Any, ...], IntArray]:
    """Return the distinct values in the order they come, and each value's number; ``nothing`` is UNKNOWN."""
    numbers = {value: number for number, value in enumerate(dict.fromkeys(values))}
    if nothing is not None and nothing in numbers:
        numbers = {value: number for number, value in enumerate(value for value in numbers if value != nothing)}
        numbers_and_nothing = numbers | {nothing: UNKNOWN}
        return tuple(numbers), np.fromiter(map(numbers_and_nothing.__getitem__, values), np.int64, len(values))
    return tuple(numbers), np.fromiter(map(numbers.__getitem__, values), np.int64, len(values))


def _refer(table: Table, column: str, index: dict[str, int], where: str, faults: list[Fault]) -> IntArray:
    """Return the rows that a column's texts name; a text that names none is a fault, an empty one UNKNOWN."""
    rows = [index.get(text, UNKNOWN) for text in table[column]]
    if UNKNOWN in rows:
        for number, (row, text) in enumerate(zip(rows, table[column], strict=True), start=HEADER_ROW + 1):
            if row == UNKNOWN and text:
                faults.append(Fault(table.file, number, column, f"a key of {where}", repr(text)))
    return np.array(rows, dtype=np.int64)


def _whole(values: Any, nothing: int) -> IntArray:
    return np.where(np.isfinite(values), values, nothing).astype(np.int64)
