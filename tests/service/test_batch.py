"""Batches: every row accounted for, nothing done twice, nothing lost when the program is ended."""

import csv
import io
import json
from collections.abc import Iterator
from contextlib import nullcontext
from pathlib import Path
from typing import Any

import pypdfium2
import pytest
from distributed import Client, LocalCluster

import service.batch
from catalogue import Catalogue, load_catalogue
from service.batch import run_batch
from service.commands import batch as command
from service.labels import label_sheet
from service.manifest import read_manifest
from service.measuring import Measured, PhotoFault
from service.options import Order
from service.results import Journal, spreadsheet

MEASUREMENT = {
    "view": "face",
    "status": "measured",
    "reasons": [],
    "dimensions": {"diameter_mm": {"value": 330.1, "std": 0.3, "low": 329.5, "high": 330.7}},
    "covariance": {"keys": ["diameter_mm"], "matrix": [[0.09]]},
    "surface": {"plain": 0.9, "slotted": 0.02, "drilled": 0.02, "dimpled": 0.06},
    "warnings": [],
}


def fake_measure(content: bytes, name: str, _order: Order) -> Measured:
    """A measurement without a photo: what is tested here is what a batch makes of it."""
    if content == b"words":
        raise PhotoFault("unreadable", f"{name}: not a picture")
    if content == b"fault":
        raise RuntimeError(name)
    return Measured({"photo": name, **MEASUREMENT})


@pytest.fixture(scope="module")
def cluster() -> Iterator[LocalCluster]:
    with LocalCluster(n_workers=1, threads_per_worker=1, processes=False, dashboard_address=None) as cluster:
        yield cluster


@pytest.fixture
def dask(cluster: LocalCluster, monkeypatch: pytest.MonkeyPatch) -> Iterator[Client]:
    monkeypatch.setattr(service.batch, "measure", fake_measure)
    with Client(cluster) as client:
        yield client


@pytest.fixture(scope="module")
def demo() -> Catalogue:
    return load_catalogue()


def write(folder: Path, text: str) -> Path:
    for name in ("a.jpg", "b.jpg", "c.jpg"):
        (folder / name).write_bytes(name.encode())
    (folder / "words.jpg").write_bytes(b"words")
    (folder / "fault.jpg").write_bytes(b"fault")
    path = folder / "manifest.csv"
    path.write_text(text, encoding="utf-8")
    return path


def run(path: Path, catalogue: Catalogue, client: Client) -> list[dict[str, Any]]:
    rotors = {str(index): rotor for index, rotor in enumerate(read_manifest(path).rotors)}
    return list(run_batch(rotors, catalogue, client))


def test_a_bad_row_is_named_and_stops_no_other(tmp_path: Path, demo: Catalogue, dask: Client) -> None:
    text = "photo,lies,axle\na.jpg,,front\nmissing.jpg,,\nwords.jpg,,\nb.jpg,floor,\nfault.jpg,,\n,face,\nc.jpg,,rear\n"
    records = run(write(tmp_path, text), demo, dask)
    assert [record["rows"] for record in records] == [[2], [3], [4], [5], [6], [7], [8]]
    assert [bool(record["problems"]) for record in records] == [False, True, True, True, True, True, False]
    wanted = ["no such file", "not a picture", "lies must be", "fault of the program", "names no photo"]
    for record, said in zip(records[1:6], wanted, strict=True):
        (problem,) = record["problems"]
        assert problem.startswith(f"row {record['rows'][0]}: ")
        assert said in problem
        assert record["identification"] is None
    assert records[0]["identification"]["verdict"]


def test_a_bad_photo_leaves_the_rotors_other_photos_counted(tmp_path: Path, demo: Catalogue, dask: Client) -> None:
    text = "photo,rotor,axle\na.jpg,R1,front\nwords.jpg,R1,front\nb.jpg,R1,front\n"
    (record,) = run(write(tmp_path, text), demo, dask)
    assert [m["photo"] for m in record["measurements"]] == ["a.jpg", "b.jpg"]
    assert record["identification"]["candidates"]
    assert len(record["problems"]) == 1


def test_more_rows_than_may_wait_all_come_back_in_order(tmp_path: Path, demo: Catalogue, dask: Client) -> None:
    text = "photo,axle\n" + "a.jpg,front\n" * 23
    assert [record["rows"] for record in run(write(tmp_path, text), demo, dask)] == [[n] for n in range(2, 25)]


def test_the_command_resumes_where_it_was_ended(
    tmp_path: Path, dask: Client, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr(command, "_client", lambda _scheduler: nullcontext(dask))
    path, out = write(tmp_path, "photo,axle\na.jpg,front\nb.jpg,rear\nc.jpg,front\n"), tmp_path / "out"
    seen = []

    def watched(content: bytes, name: str, order: Order) -> Measured:
        seen.append(name)
        return fake_measure(content, name, order)

    monkeypatch.setattr(service.batch, "measure", watched)
    assert command.run(path, out, None, None) == 0
    assert sorted(seen) == ["a.jpg", "b.jpg", "c.jpg"]
    lines = (out / "results.jsonl").read_text(encoding="utf-8").splitlines(keepends=True)
    # As if ended in the middle of the third line:
    (out / "results.jsonl").write_text("".join(lines[:2]) + lines[2][:50], encoding="utf-8")
    (out / "results.csv").unlink()
    seen.clear()
    assert command.run(path, out, None, None) == 0
    assert seen == ["c.jpg"]
    assert (out / "results.jsonl").read_text(encoding="utf-8").splitlines(keepends=True) == lines
    assert "2 of 3 rotors were done before" in capsys.readouterr().err
    assert sorted(p.name for p in out.iterdir()) == ["labels.pdf", "results.csv", "results.jsonl"]


def test_a_journal_ignores_a_line_that_was_cut_off(tmp_path: Path) -> None:
    journal = Journal(tmp_path / "results.jsonl")
    assert journal.load() == {}
    journal.add({"key": "a", "x": 1})
    with journal.path.open("a", encoding="utf-8") as out:
        out.write('{"key": "b", "x')
    assert list(journal.load()) == ["a"]


def record(**changed: Any) -> dict[str, Any]:
    candidate = {"line": "L", "model": "M", "years": "2018-2021", "probability": 0.9}
    return {
        "key": "k",
        "rotor": "R1",
        "rows": [2],
        "photos": ["a.jpg"],
        "measurements": [{"photo": "a.jpg", **MEASUREMENT}],
        "identification": {
            "verdict": "ready",
            "message": "It is.",
            "candidates": [candidate, candidate | {"model": "N", "probability": 0.05}, candidate],
            "none_of_these": 0.01,
            "parts": {"front": {"rotor": {"verdict": "ready", "options": []}}},
        },
        "problems": [],
    } | changed


def test_the_spreadsheet_has_a_row_a_rotor_and_runs_no_formulas() -> None:
    text = spreadsheet([record(), record(rotor="=1+1", identification=None, measurements=[], problems=["row 3: no"])])
    first, second = csv.DictReader(io.StringIO(text.decode("utf-8-sig")))
    assert (first["diameter_mm"], first["diameter_low_mm"], first["diameter_high_mm"]) == ("330.1", "329.5", "330.7")
    assert first["fits"] == "L M 2018-2021; L N 2018-2021"
    assert first["thickness_mm"] == ""
    assert (second["rotor"], second["status"], second["problems"]) == ("'=1+1", "failed", "row 3: no")


def test_labels_say_what_it_is_what_it_fits_and_what_to_mind() -> None:
    with pypdfium2.PdfDocument(label_sheet([record(), record(rotor="<R&2>")])) as document:
        words = " ".join(document[0].get_textpage().get_text_bounded().split())
    for said in ("R1", "<R&2>", "330.1", "329.5 to 330.7", "fits: L M 2018-2021", "prevail", "qualified"):
        assert said in words


def test_a_label_says_fits_only_of_a_rotor_that_is_settled() -> None:
    settled = record()["identification"]
    still_open = settled | {"parts": {"front": {"rotor": {"verdict": "check", "options": []}}}}
    foreign = settled | {"verdict": "no-match"}
    sheet = label_sheet([record(identification=each) for each in (settled, still_open, foreign)])
    with pypdfium2.PdfDocument(sheet) as document:
        words = " ".join(document[0].get_textpage().get_text_bounded().split())
    assert words.count("fits: L M 2018-2021") == 1
    assert words.count("may fit: L M 2018-2021") == 1
    assert words.count("fits: nothing that is known here") == 1


def test_nine_labels_take_two_pages_and_none_is_cut_off() -> None:
    car = {"line": "L", "years": "2018-2021", "probability": 0.1}
    cars = [car | {"model": f"Model {n}"} for n in range(40)]
    many = {"message": "Open.", "candidates": cars}
    with pypdfium2.PdfDocument(label_sheet([record(identification=many)] * 9)) as document:
        assert len(document) == 2
        words = " ".join(document[1].get_textpage().get_text_bounded().split())
    assert "and 32 more, see results.csv" in words


def test_every_line_of_the_results_is_json(tmp_path: Path, demo: Catalogue, dask: Client) -> None:
    journal = Journal(tmp_path / "results.jsonl")
    journal.write(run(write(tmp_path, "photo,axle\na.jpg,front\n"), demo, dask))
    (line,) = journal.path.read_text(encoding="utf-8").splitlines()
    assert json.loads(line)["measurements"][0]["photo"] == "a.jpg"
