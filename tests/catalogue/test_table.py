"""Rows are read in stretches, and nobody can tell where one ends."""

from pathlib import Path

import pytest

from catalogue import table
from catalogue.faults import Fault
from catalogue.table import read_table

HEADER = "part,height_mm,length_mm,thickness_mm,wear_sensor,shape_number,marks\n"


def read(folder: Path, lines: str) -> tuple[list[str], list[Fault]]:
    (folder / "pads.csv").write_text(HEADER + lines, encoding="utf-8")
    faults: list[Fault] = []
    return read_table(folder, "pads.csv", faults)["part"], faults


@pytest.mark.parametrize("stretch", [1, 2, 3, 1000])
def test_empty_lines_at_the_end_are_no_rows(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, stretch: int) -> None:
    monkeypatch.setattr(table, "STRETCH", stretch)
    parts, faults = read(tmp_path, "a,,,,,,\nb,,,,,,\nc,,,,,,\n\n\n\n")
    assert parts == ["a", "b", "c"]
    assert faults == []


@pytest.mark.parametrize("stretch", [1, 2, 3, 1000])
def test_an_empty_line_between_rows_is_named(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, stretch: int) -> None:
    monkeypatch.setattr(table, "STRETCH", stretch)
    _, faults = read(tmp_path, "a,,,,,,\n\n\nb,x,,,,,\n")
    assert [(fault.row, fault.column) for fault in faults if fault.got == "0"] == [(3, ""), (4, "")]
    assert [(fault.row, fault.got) for fault in faults if fault.column == "height_mm"] == [(5, "'x'")]
