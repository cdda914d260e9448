"""Small catalogues for tests: a few rows, every cell that isn't said left empty."""

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import pytest

from catalogue.columns import COLUMNS
from catalogue.load import load_catalogue
from catalogue.schema import Catalogue

Rows = Sequence[Mapping[str, Any]]
Build = Callable[..., Catalogue]


def write_table(folder: Path, file: str, rows: Rows) -> None:
    """Write rows; a column that a row doesn't name stays empty."""
    names = [column.name for column in COLUMNS[file]]
    lines = [",".join(names)] + [",".join(str(row.get(name, "")) for name in names) for row in rows]
    (folder / file).write_text("\n".join(lines) + "\n", encoding="utf-8")


def write_catalogue(folder: Path, packages: Mapping[str, Mapping[str, Any]], fitments: Rows = ()) -> Path:
    """Write a catalogue of packages.

    Parameters
    ----------
    folder : Path
    packages : mapping
        Package to axle to its cells: ``rotor`` (cells of the rotor), ``right`` (of the right one), ``pads``,
        ``caliper``, ``min_wheel_in``. Parts are the same where their cells are; a ``part`` names one.
    fitments : sequence of mapping
        Without any, each package is fitted to the one model there is, alike.
    """
    parts: dict[str, dict[str, dict[str, Any]]] = {"rotors.csv": {}, "pads.csv": {}, "calipers.csv": {}}
    rows = []
    for package, axles in packages.items():
        for axle, cells in axles.items():
            row = {"package": package, "package_name": package.title(), "axle": axle}
            row["rotor"] = _part(parts["rotors.csv"], cells["rotor"], "R")
            row["rotor_right"] = _part(parts["rotors.csv"], cells["right"], "R") if "right" in cells else ""
            row["pads"] = _part(parts["pads.csv"], cells.get("pads", {}), "P")
            row["caliper"] = _part(parts["calipers.csv"], cells.get("caliper", {}), "C")
            rows.append(row | {"min_wheel_in": cells.get("min_wheel_in", "")})
    for file, of_file in parts.items():
        write_table(folder, file, list(of_file.values()))
    write_table(folder, "packages.csv", rows)
    default = [{"line": "Line", "model": "Model", "year_from": 2015, "package": package} for package in packages]
    write_table(folder, "fitments.csv", fitments or default)
    return folder


def _part(known: dict[str, dict[str, Any]], cells: Mapping[str, Any], prefix: str) -> str:
    key = repr(sorted(cells.items()))
    if key not in known:
        name = str(cells.get("part", f"{prefix}{len(known) + 1}"))
        column = "caliper" if prefix == "C" else "part"
        known[key] = {**{name_: value for name_, value in cells.items() if name_ != "part"}, column: name}
    entry = known[key]
    return str(entry.get("part", entry.get("caliper")))


@pytest.fixture
def build(tmp_path: Path) -> Build:
    """Return a function from packages (and fitments) to a loaded catalogue."""
    count = 0

    def built(packages: Mapping[str, Mapping[str, Any]], fitments: Rows = ()) -> Catalogue:
        nonlocal count
        count += 1
        folder = tmp_path / f"catalogue{count}"
        folder.mkdir()
        return load_catalogue(write_catalogue(folder, packages, fitments))

    return built
