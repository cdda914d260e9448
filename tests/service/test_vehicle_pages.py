"""Line, model, year: a few taps however large the catalogue, and nothing known that contradicts the rest."""

import re
from dataclasses import replace

import pytest
from starlette.testclient import TestClient

from catalogue import Catalogue, load_catalogue
from service.pages.job import Job
from service.pages.name_list import MOST, list_names
from service.pages.shelf import Shelf
from service.pages.vehicle import choose, names_of

MANY = [f"L{number:05}" for number in range(1, 2085)]
TAPS = 5


@pytest.fixture(scope="module")
def shelf() -> Shelf:
    return Shelf(load_catalogue(None))


@pytest.mark.parametrize("wanted", [MANY[0], MANY[1234], MANY[-1]])
def test_each_of_thousands_of_names_is_a_few_taps_away(wanted: str) -> None:
    starts = ""
    for _ in range(TAPS):
        shown = list_names(MANY, starts=starts)
        assert len(shown.names) + len(shown.beginnings) <= MOST
        if wanted in shown.names:
            return
        (starts,) = (start for start, _ in shown.beginnings if wanted.startswith(start))
    raise AssertionError(f"{wanted} is not reached")


def test_every_name_is_under_one_beginning_or_shown_itself() -> None:
    names = sorted([*MANY, "L", "L0"])
    shown = list_names(names)
    assert shown.names == ["L"]
    assert sum(count for _, count in shown.beginnings) == len(names) - 1


def test_part_of_a_name_finds_it_in_small_letters_too() -> None:
    found = list_names(MANY, find=" l0123 ")
    assert found.names == [f"L0123{digit}" for digit in range(10)]
    assert list_names(MANY, find="l0").left_off == len(MANY) - MOST


def test_a_changed_line_takes_back_model_and_year(shelf: Shelf) -> None:
    first, second = list(shelf.lines)[:2]
    job = choose(shelf, Job(), "line", first)
    job = choose(shelf, job, "model", shelf.lines[first][0])
    job = choose(shelf, job, "year", names_of(shelf, job, "year")[0])
    assert list(job.vehicle) == ["line", "model", "year"]
    assert choose(shelf, job, "line", first) == job
    assert choose(shelf, job, "line", second).vehicle == {"line": second}


def test_a_model_found_by_its_name_brings_its_line(shelf: Shelf) -> None:
    line, models = next(iter(shelf.lines.items()))
    assert choose(shelf, Job(), "line", f"{line} / {models[0]}").vehicle == {"line": line, "model": models[0]}


@pytest.mark.parametrize("level", ["line", "model", "year"])
def test_what_the_catalogue_lacks_counts_as_not_said(shelf: Shelf, level: str) -> None:
    line, models = next(iter(shelf.lines.items()))
    known = {"line": line, "model": models[0], "year": "2019"}
    job = choose(shelf, replace(Job(), vehicle=known), level, "nonsense")  # type: ignore[arg-type]
    assert level not in job.vehicle
    assert job.vehicle.items() <= known.items()


def test_the_years_of_a_model_are_those_of_its_fitments(shelf: Shelf) -> None:
    fitments = shelf.catalogue.fitments
    for number, (line, model) in enumerate(fitments.models):
        years = shelf.years(line, model)
        rows = fitments.model == number
        assert years[-1] == fitments.year_from[rows].min()
        assert years == sorted(years, reverse=True)
        assert max(years) >= fitments.year_from[rows].max()


def test_one_line_alone_keeps_its_matrices(shelf: Shelf) -> None:
    alone: Catalogue = shelf.only(shelf.catalogue.fitments.lines[0])
    assert 0 < len(alone.fitments) < len(shelf.catalogue.fitments)
    assert set(alone.fitments.model_line[alone.fitments.model]) == {0}


def test_the_car_is_chosen_over_plain_forms(client: TestClient, shelf: Shelf) -> None:
    line, models = next(iter(shelf.lines.items()))
    page = client.post("/car", data={"axle": "rear", "parts": "rotor"})
    job = re.sub("/vehicle/line$", "", page.url.path)
    assert client.get(f"{job}/vehicle/model").url.path == f"{job}/vehicle/line"
    page = client.post(f"{job}/vehicle/line", data={"choice": line})
    assert f'value="{models[0]}"' in page.text
    page = client.post(f"{job}/vehicle/model", data={"choice": models[0]})
    assert page.url.path == f"{job}/vehicle/year"
    page = client.post(f"{job}/vehicle/year", data={"choice": ""})
    assert page.url.path == f"{job}/looks"
    assert f"Result: {line} {models[0]}" in client.get(f"{job}/result").text


def test_a_bench_from_one_car_ranks_every_rotor_within_it(client: TestClient, shelf: Shelf) -> None:
    line = list(shelf.lines)[-1]
    letters = [("photo", (name, b"Dear Sir", "image/jpeg")) for name in ("a.jpg", "b.jpg")]
    bench = client.post("/bench", data={"axle": "front"}, files=letters).url.path.removesuffix("/bench")
    client.post(f"{bench}/vehicle/line", data={"choice": line})
    page = client.post(f"{bench}/vehicle/model", data={"choice": ""})
    page = client.post(f"{bench}/vehicle/year", data={"choice": ""})
    assert f"All from one car: <b>{line}</b>" in page.text
    rows = set(re.findall(r"(/jobs/[^/]+)/readings", page.text))
    assert len(rows) == len(letters)
    for row in rows:
        assert f"Result: {line}" in client.get(f"{row}/result").text
