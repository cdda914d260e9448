"""What a person reads after ``whichrotor identify``, from real rankings of the demo catalogue."""

import json
import re
from pathlib import Path

import pytest

from service.cli import main

SAMPLE = Path(__file__).parents[2] / "sample_images_synthetic" / "first" / "s01.jpg"


def answered(capsys: pytest.CaptureFixture[str], *words: str) -> str:
    assert main(["identify", *words]) == 0
    return capsys.readouterr().out


def test_the_text_holds_everything_that_the_json_says(capsys: pytest.CaptureFixture[str]) -> None:
    words = ["--line", "Ostrabel", "--axle", "front", "--diameter-mm", "330.1", "--thickness-mm", "23.2"]
    words += ["--condition", "used", "--caliper-colour", "red"]
    text, wire = answered(capsys, *words), json.loads(answered(capsys, *words, "--json"))
    assert wire["message"] in text.splitlines()[0]
    assert wire["candidates"][0]["package_name"] in text
    assert "none of these" in text
    for group in wire["cannot_tell_apart"]:
        assert all(package in text for package in group["packages"])
    assert wire["next_checks"][0]["how"] in text
    for caution in wire["cautions"]:
        assert caution in text
    assert all(ignored["why"] in text for ignored in wire["ignored"])
    for part in wire["parts"]["front"].values():
        assert part["options"][0]["part"] in text


def test_a_probability_that_is_not_certain_never_reads_as_certain(capsys: pytest.CaptureFixture[str]) -> None:
    text = answered(capsys, "--line", "Ostrabel", "--axle", "front", "--diameter-mm", "330.1")
    shown = re.findall(r"\S+ %", text)
    assert shown
    assert not {"100.0 %", "0.0 %"} & set(shown)


def test_readings_may_come_as_a_file_as_flags_and_from_standard_input(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    evidence = {"vehicle": {"line": "Ostrabel"}, "axles": {"front": {"diameter_mm": 330.1, "surface": "plain"}}}
    path = tmp_path / "evidence.json"
    path.write_text(json.dumps(evidence), encoding="utf-8")
    from_file = answered(capsys, str(path), "--json")
    words = ["--line", "Ostrabel", "--axle", "front", "--diameter-mm", "330.1", "--surface", "plain"]
    assert answered(capsys, *words, "--json") == from_file
    with path.open(encoding="utf-8") as stream:
        monkeypatch.setattr("sys.stdin", stream)
        assert answered(capsys, "-", "--json") == from_file


def test_a_flag_overrules_the_file_on_the_files_only_axle(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    path = tmp_path / "evidence.json"
    path.write_text(json.dumps({"axles": {"rear": {"diameter_mm": 400}}}), encoding="utf-8")
    overruled = json.loads(answered(capsys, str(path), "--diameter-mm", "13 in", "--json"))
    assert {row["axle"] for row in overruled["candidates"]} == {"rear"}
    assert overruled["none_of_these"] < 0.5  # 13 in is 330.2 mm, which the catalogue has; 400 mm it has not


def test_wanted_parts_alone_are_judged(capsys: pytest.CaptureFixture[str]) -> None:
    words = ["--line", "Ostrabel", "--axle", "front", "--diameter-mm", "330.1", "--wanted", "front:pads", "--json"]
    assert set(json.loads(answered(capsys, *words))["parts"]["front"]) == {"pads"}


def test_saved_measurements_count_and_refused_ones_say_so(capsys: pytest.CaptureFixture[str], tmp_path: Path) -> None:
    refused = {
        "photo": "dark.jpg",
        "view": "face",
        "status": "refused",
        "reasons": [{"code": "no-reference", "message": "Nothing of known size.", "remedy": "Lay a card."}],
        "dimensions": {},
        "surface": {"plain": 0.02, "drilled": 0.98},
    }
    path = tmp_path / "saved.json"
    path.write_text(json.dumps(refused), encoding="utf-8")
    base = ["--line", "Ostrabel", "--axle", "front", "--diameter-mm", "330.1"]
    text = answered(capsys, *base, "--measurement", str(path))
    assert "dark.jpg was refused (Nothing of known size.)" in text
    with_photo = json.loads(answered(capsys, *base, "--measurement", str(path), "--json"))
    without = json.loads(answered(capsys, *base, "--json"))
    assert with_photo["candidates"][0] != without["candidates"][0]
    assert with_photo["photos"][0]["status"] == "refused"


def test_what_each_photo_measured_is_said_with_its_interval(capsys: pytest.CaptureFixture[str]) -> None:
    words = ["--line", "Ostrabel", "--axle", "front", "--photo", str(SAMPLE)]
    text, wire = answered(capsys, *words), json.loads(answered(capsys, *words, "--json"))
    read = wire["photos"][0]["dimensions"]["diameter_mm"]
    assert read["low"] < read["value"] < read["high"]
    line = next(line for line in text.splitlines() if line.startswith(f"Photo {SAMPLE.name}: "))
    assert f"diameter {read['value']:.1f} mm (95 %: {read['low']:.1f} to {read['high']:.1f})" in line
