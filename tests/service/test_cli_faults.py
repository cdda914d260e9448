"""Bad input on the command line: the contract's exit code, one line on standard error, nothing half written."""

import json
from pathlib import Path

import pytest

from service.cli import main

DONE, WRONG, REFUSED = 0, 2, 3


def run(capsys: pytest.CaptureFixture[str], *words: str) -> tuple[int, str, str]:
    try:
        code = main(words)
    except SystemExit as leaving:
        code = int(leaving.code or 0)
    out, err = capsys.readouterr()
    return code, out, err


def assert_one_line(err: str, *parts: str) -> None:
    assert err.endswith("\n")
    assert err.count("\n") == 1
    for part in parts:
        assert part in err


@pytest.mark.parametrize(
    ("name", "remedy"),
    [
        ("missing.jpg", "check the path"),
        (".", "name the photo"),
        ("empty.jpg", "empty"),
        ("text.jpg", "JPEG"),
        ("cut.jpg", "again"),
        ("huge.png", "smaller"),
    ],
)
@pytest.mark.parametrize("command", [("measure",), ("identify", "--photo")])
def test_a_file_that_is_no_photo_gets_one_line(
    bad_photos: Path, capsys: pytest.CaptureFixture[str], command: tuple[str, ...], name: str, remedy: str
) -> None:
    code, out, err = run(capsys, *command, str(bad_photos / name))
    assert (code, out) == (WRONG, "")
    assert_one_line(err, remedy)


@pytest.mark.parametrize("name", ["dot.png", "nothing.jpg"])
def test_a_photo_without_a_rotor_is_refused_and_the_measurement_printed(
    bad_photos: Path, capsys: pytest.CaptureFixture[str], name: str
) -> None:
    code, out, _ = run(capsys, "measure", str(bad_photos / name), "--json")
    measurement = json.loads(out)
    assert code == REFUSED
    assert measurement["status"] == "refused"
    assert all(reason["message"] and reason["remedy"] for reason in measurement["reasons"])


@pytest.mark.parametrize(
    ("option", "value", "said"),
    [
        ("--lies", "floor", "floor"),
        ("--view", "top", "top"),
        ("--reference", "brick", "card"),
        ("--reference", "tag:huge", "tag:39.2"),
        ("--reference", "coin:xxx-2", "coin"),
        ("--reference", "bolt-circle:9", "bolt-circle"),
        ("--reference", "points:1,2,3", "points"),
        ("--thickness-mm", "thick", "26.5"),
        ("--thickness-mm", "nan", "nan"),
        ("--diameter-mm", "-330", "330"),
        ("--lift-mm", "inf", "inf"),
        ("--rim", "1,2 3", "x,y"),
        ("--rim", "1,2 3,4", "at least 3"),
        ("--nonsense", "1", "nonsense"),
    ],
)
def test_a_wrong_option_gets_one_line_that_names_it(
    bad_photos: Path, capsys: pytest.CaptureFixture[str], option: str, value: str, said: str
) -> None:
    code, out, err = run(capsys, "measure", str(bad_photos / "nothing.jpg"), f"{option}={value}")
    assert (code, out) == (WRONG, "")
    assert_one_line(err, option, said)


@pytest.mark.parametrize(
    ("content", "said"),
    [
        ("{", "line 1"),
        ("[]", "object"),
        ('{"colour": "red"}', "colour"),
        ('{"axles": {"front": {"diameter_mm": -330}}}', "diameter_mm"),
        ('{"axles": {"front": {"diameter_mm": NaN}}}', "diameter_mm"),
        ('{"axles": {"front": {"surface": {"plain": 0.4, "drilled": 0.4}}}}', "surface"),
        ('{"axles": {"middle": {"diameter_mm": 330}}}', "middle"),
    ],
)
def test_evidence_that_cannot_be_used_gets_one_line(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], content: str, said: str
) -> None:
    path = tmp_path / "evidence.json"
    path.write_text(content, encoding="utf-8")
    code, out, err = run(capsys, "identify", str(path))
    assert (code, out) == (WRONG, "")
    assert_one_line(err, said)


@pytest.mark.parametrize(
    "words", [("identify",), ("identify", "no-such.json"), ("identify", "--measurement", "no.json")]
)
def test_identify_with_nothing_to_go_by_says_what_to_give(
    capsys: pytest.CaptureFixture[str], words: tuple[str, ...]
) -> None:
    code, out, err = run(capsys, *words)
    assert (code, out) == (WRONG, "")
    assert_one_line(err)


def test_a_photo_given_as_evidence_is_recognised_as_no_json(
    bad_photos: Path, capsys: pytest.CaptureFixture[str]
) -> None:
    code, _, err = run(capsys, "identify", str(bad_photos / "nothing.jpg"))
    assert code == WRONG
    assert_one_line(err, "--photo")


def test_a_catalogue_with_a_missing_column_names_it(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    (tmp_path / "rotors.csv").write_text("part,diameter_mm\nA,330\n", encoding="utf-8")
    code, out, _ = run(capsys, "catalogue", "check", str(tmp_path))
    assert code == WRONG
    assert any("rotors.csv" in line and "thickness_mm" in line for line in out.splitlines())
    code, out, err = run(capsys, "identify", "--diameter-mm", "330", "--catalogue", str(tmp_path))
    assert (code, out) == (WRONG, "")
    assert_one_line(err, "rotors.csv", "catalogue check")


@pytest.mark.parametrize("words", [("catalogue", "check"), ("catalogue", "overlaps"), ("identify", "--catalogue")])
def test_a_catalogue_that_is_not_there_is_a_wrong_path(
    tmp_path: Path, capsys: pytest.CaptureFixture[str], words: tuple[str, ...]
) -> None:
    more = ("--diameter-mm", "330") if words[0] == "identify" else ()
    code, _, err = run(capsys, *words, str(tmp_path / "nowhere"), *more)
    assert code == WRONG
    assert_one_line(err, "nowhere")


@pytest.mark.parametrize("words", [(), ("measur",), ("measure",), ("vin",), ("catalogue",), ("batch", "x.csv")])
def test_wrong_usage_is_one_line_that_points_to_help(
    capsys: pytest.CaptureFixture[str], words: tuple[str, ...]
) -> None:
    code, out, err = run(capsys, *words)
    assert (code, out) == (WRONG, "")
    assert_one_line(err, "--help")


def test_an_open_address_without_a_token_is_not_served(
    capsys: pytest.CaptureFixture[str], monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv("WHICHROTOR_TOKEN", raising=False)
    code, _, err = run(capsys, "serve", "--host", "0.0.0.0")
    assert code == WRONG
    assert_one_line(err, "--lan", "WHICHROTOR_TOKEN")


@pytest.mark.parametrize("port", ["-1", "70000", "many"])
def test_an_impossible_port_is_wrong_usage(
    capsys: pytest.CaptureFixture[str], tmp_path: Path, monkeypatch: pytest.MonkeyPatch, port: str
) -> None:
    monkeypatch.setenv("WHICHROTOR_DATA", str(tmp_path))
    code, _, err = run(capsys, "serve", f"--port={port}")
    assert code == WRONG
    assert_one_line(err, port)


def test_a_sheet_that_cannot_be_written_leaves_nothing(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    code, _, err = run(capsys, "sheet", str(tmp_path / "nowhere" / "tags.pdf"))
    assert code == WRONG
    assert_one_line(err, "tags.pdf", "folder")
    assert list(tmp_path.iterdir()) == []


@pytest.mark.parametrize(
    ("vin", "code"),
    [
        ("1G4AH59H45G118341", DONE),  # 49 CFR 565.15(c), Table VI: the worked example
        ("1G4AH59H45G118331", WRONG),  # one digit changed: sum 408, check digit 1 (recomputed by the rule)
        ("1G4AH59H45G11834", WRONG),
        ("WAAZZZ00000000000", DONE),  # a filler in the ninth place outside North America: a notice
    ],
)
def test_vin_ends_as_the_number_is_well_formed_or_not(capsys: pytest.CaptureFixture[str], vin: str, code: int) -> None:
    assert run(capsys, "vin", vin)[0] == code
