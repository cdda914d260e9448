"""The main job by the command line: one photo in, packages out, whichever way the measurement travels."""

import json
from pathlib import Path
from typing import Any

import pytest

from service.cli import main

FIRST = Path(__file__).parents[2] / "sample_images_synthetic" / "first"
PHOTO = str(FIRST / "s01.jpg")


@pytest.fixture(scope="module")
def saved(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """The measurement of a sample photo, as ``measure --json`` prints it."""
    path = tmp_path_factory.mktemp("saved") / "measurement.json"
    with pytest.MonkeyPatch.context() as patch, path.open("w", encoding="utf-8") as out:
        patch.setattr("sys.stdout", out)
        assert main(["measure", PHOTO, "--json"]) == 0
    return path


def identified(capsys: pytest.CaptureFixture[str], *words: str) -> dict[str, Any]:
    assert main(["identify", *words, "--json"]) == 0
    answer: dict[str, Any] = json.loads(capsys.readouterr().out)
    return answer


def probabilities(answer: dict[str, Any]) -> dict[str, float]:
    listed = {
        f"{each['model']} {each['years']} {each['package']}": each["probability"] for each in answer["candidates"]
    }
    return {**listed, "none of these": answer["none_of_these"]}


def test_a_photo_and_its_saved_measurement_rank_alike(capsys: pytest.CaptureFixture[str], saved: Path) -> None:
    by_photo = probabilities(identified(capsys, "--photo", PHOTO, "--axle", "front"))
    by_file = probabilities(identified(capsys, "--measurement", str(saved), "--axle", "front"))
    # Measuring twice differs in the last digits: sums run in whatever order the threads take.
    assert by_file == pytest.approx(by_photo, abs=1e-4)


def test_the_printed_diameter_is_within_half_a_percent(saved: Path) -> None:
    truth = {each["file"]: each for each in json.loads((FIRST / "truth.json").read_text(encoding="utf-8"))}
    diameter = json.loads(saved.read_text(encoding="utf-8"))["dimensions"]["diameter_mm"]
    true_mm = truth["s01.jpg"]["rotor"]["diameter_mm"]
    assert diameter["value"] == pytest.approx(true_mm, rel=0.005, abs=0)
    assert diameter["low"] < diameter["value"] < diameter["high"]


def test_a_reading_beside_the_photo_narrows_the_ranking(capsys: pytest.CaptureFixture[str], saved: Path) -> None:
    base = ("--measurement", str(saved), "--axle", "front")
    alone = identified(capsys, *base)
    both = identified(capsys, *base, "--thickness-mm", "23.2", "--condition", "used")
    assert both["candidates"] != alone["candidates"]
    told = {why["evidence"] for why in both["candidates"][0]["why"]}
    assert "thickness_mm" in told


def test_the_overlay_is_a_picture_of_the_photo(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    overlay = tmp_path / "overlay.png"
    assert main(["measure", PHOTO, "--overlay", str(overlay)]) == 0
    assert "diameter" in capsys.readouterr().out
    assert overlay.read_bytes().startswith(b"\x89PNG\r\n\x1a\n")
    assert [path.name for path in tmp_path.iterdir()] == ["overlay.png"]
