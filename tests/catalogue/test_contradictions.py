"""What a catalogue that loads says against itself is found, and a sound one is left alone."""

import csv
import shutil
from collections.abc import Callable
from pathlib import Path

import pytest

from catalogue.contradictions import contradictions
from catalogue.faults import Fault
from catalogue.generate import generate_catalogue
from catalogue.load import DEMO, load_catalogue

Row = dict[str, str]
Change = Callable[[list[Row]], object]


def changed(folder: Path, file: str, change: Change) -> tuple[Fault, ...]:
    """Load the demo catalogue with one file changed, and return what it says against itself."""
    copy = folder / "changed"
    shutil.copytree(DEMO, copy)
    with (copy / file).open(encoding="utf-8", newline="") as handle:
        reader = csv.DictReader(handle)
        rows, columns = list(reader), list(reader.fieldnames or ())
    change(rows)
    with (copy / file).open("w", encoding="utf-8", newline="") as handle:
        writer = csv.DictWriter(handle, columns)
        writer.writeheader()
        writer.writerows(rows)
    return contradictions(load_catalogue(copy))


def setting(part: str, **cells: str) -> Change:
    """Set cells of the row whose first cell is ``part``."""

    def change(rows: list[Row]) -> None:
        next(row for row in rows if next(iter(row.values())) == part).update(cells)

    return change


def adding(part_of_row: Callable[[Row], bool], **cells: str) -> Change:
    """Append a copy of the first row that fits, with some cells changed."""

    def change(rows: list[Row]) -> None:
        rows.append({**next(row for row in rows if part_of_row(row)), **cells})

    return change


def test_the_demo_catalogue_does_not_contradict_itself() -> None:
    assert contradictions(load_catalogue()) == ()


def test_an_invented_catalogue_does_not_either(tmp_path: Path) -> None:
    generate_catalogue(tmp_path, fitments=1500, seed=2)
    assert contradictions(load_catalogue(tmp_path)) == ()


@pytest.mark.parametrize(
    ("part", "column", "cell", "wanted"),
    [
        ("OB-R-28022", "hat_mm", "173", "at most ring_inner_mm (172)"),
        ("OB-R-28022", "bolt_circle_mm", "152", "less than hat_mm (152)"),
        ("OB-R-28022", "min_thickness_mm", "16", "0.5 to 5 mm under thickness_mm (22)"),
        ("OB-R-28022", "min_thickness_mm", "21.8", "0.5 to 5 mm under thickness_mm (22)"),
        ("OB-R-28022", "mass_kg", "12.1", "by the rotor's lengths"),
        ("OB-R-28022", "marks", "OB 2300 C", "a mark that one part has"),
    ],
)
def test_a_rotor_that_cannot_be_names_its_cell(tmp_path: Path, part: str, column: str, cell: str, wanted: str) -> None:
    more = {"machine_to_mm": ""} if column == "min_thickness_mm" else {}
    (fault,) = changed(tmp_path, "rotors.csv", setting(part, **{column: cell}, **more))
    row = 3 if column == "marks" else 2  # the second part with that mark is the one named
    assert (fault.file, fault.row, fault.column) == ("rotors.csv", row, column)
    assert wanted in fault.wanted


def test_a_wheel_too_small_for_its_rotor_is_named(tmp_path: Path) -> None:
    (fault,) = changed(tmp_path, "packages.csv", setting("OB-STD", min_wheel_in="13"))
    assert (fault.row, fault.column, fault.got) == (2, "min_wheel_in", "13")


def test_a_right_rotor_of_another_size_is_named(tmp_path: Path) -> None:
    found = changed(tmp_path, "packages.csv", setting("TW-SPORT", rotor_right="TW-R-36836"))
    assert [fault.column for fault in found] == ["rotor_right", "rotor_right"]
    assert "diameter_mm (365)" in found[0].wanted


def test_shares_over_one_name_the_rows_that_add_up(tmp_path: Path) -> None:
    def change(rows: list[Row]) -> None:
        rows[0]["share"] = "0.75"

    (fault,) = changed(tmp_path, "fitments.csv", change)
    assert fault.column == "share"
    assert "Ostrabel Fennock" in fault.got
    assert "rows 2, " in fault.got


def test_a_package_twice_on_one_model_is_named_unless_the_times_part_them(tmp_path: Path) -> None:
    def is_long(row: Row) -> bool:
        return row["model"] == "Fennock Long" and row["package"] == "OB-TOUR-1"

    again = adding(is_long, share="", option_code="")
    (fault,) = changed(tmp_path / "overlapping", "fitments.csv", again)
    assert fault.column == "package"
    assert "'OB-TOUR-1' again" in fault.got
    later = adding(is_long, share="", option_code="", year_from="2022", year_to="2022", built_to="")
    assert changed(tmp_path / "parted", "fitments.csv", later) == ()


def test_one_code_for_two_packages_of_a_model_is_named(tmp_path: Path) -> None:
    def change(rows: list[Row]) -> None:
        next(row for row in rows if row["model"] == "Havvle" and row["package"] == "QN-TOUR")["option_code"] = "BK20"

    (fault,) = changed(tmp_path, "fitments.csv", change)
    assert fault.column == "option_code"
    assert "'BK20' for another package" in fault.got


def test_an_alternative_of_another_size_is_named(tmp_path: Path) -> None:
    def change(rows: list[Row]) -> None:
        rows[0]["part"] = "OB-R-28022"

    (fault,) = changed(tmp_path, "alternatives.csv", change)
    assert (fault.file, fault.row, fault.column) == ("alternatives.csv", 2, "part")
    assert str(fault) == (
        "alternatives.csv, row 2, column part: wanted a rotor of 300 mm, as OB-R-30026, got OB-R-28022 of 280 mm"
    )
