"""The summary and the contact sheet of a set."""

import json
from pathlib import Path

import pytest

from sample_images_synthetic.studio.summary import COLUMNS, TILE_PX, contact_sheet, lines, main

FIRST = Path(__file__).resolve().parents[2] / "sample_images_synthetic" / "first"


def test_summary_counts_every_photo_of_a_set(capsys: pytest.CaptureFixture[str]) -> None:
    assert main(["first"]) == 0
    said = capsys.readouterr().out
    assert said.startswith("8 photos\n")
    assert "tag face 4, card face 4" in said


def test_quantiles_come_in_order() -> None:
    rows = json.loads((FIRST / "truth.json").read_text())
    diameters = next(line for line in lines(rows) if line.startswith("diameter"))
    values = [float(word) for word in diameters.split()[2:]]
    assert values == sorted(values)
    assert len(values) == 5


def test_contact_sheet_shows_each_photo_with_its_rim_in_red() -> None:
    rows = json.loads((FIRST / "truth.json").read_text())[:2]
    sheet = contact_sheet(FIRST, rows)
    assert sheet.size == (COLUMNS * TILE_PX, TILE_PX)
    reds = [sheet.crop((i * TILE_PX, 0, (i + 1) * TILE_PX, TILE_PX)).getcolors(TILE_PX**2) for i in range(2)]
    assert all(any(colour == (255, 0, 0) for _, colour in found or []) for found in reds)
