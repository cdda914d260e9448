"""Which car: its line, then its model, then its year, a tap each; the same way for five lines and for thousands."""

from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Literal

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse, Response

from service.pages.answers import Ranked, ranked_of
from service.pages.car import Step, form_of, steps_of
from service.pages.desk import AtDesk, Desk
from service.pages.frame import go_to, show_page
from service.pages.job import Job
from service.pages.name_list import NameList, list_names
from service.pages.shelf import Shelf

router = APIRouter()
Level = Literal["line", "model", "year"]
BETWEEN = " / "
_NEXT: dict[Level, Level | None] = {"line": "model", "model": "year", "year": None}
_TITLES = {"line": "Which car is it?", "model": "Which {line}?", "year": "Which model year?"}
_HINTS = {
    "line": "First its line: the name that all its models share.",
    "model": "",
    "year": "Not sure? The papers may say a later year, that of the first registration.",
}
_SAY = {
    "line": "Which car is it? Please tell me the name of the line first.",
    "model": "Which model of the {line} is it?",
    "year": "Which model year is it? The first registration in the papers may be later.",
}


@dataclass(frozen=True)
class VehiclePage:
    """Context of ``vehicle.html``; ``answer`` is the ranking that the phone keeps in sight."""

    job_id: str
    steps: Sequence[Step]
    level: Level
    title: str
    say: str
    hint: str
    known: Sequence[tuple[Level, str]]
    chosen: str
    choices: NameList
    answer: Ranked | None


@router.get("/jobs/{job_id}/vehicle/{level}")
def ask(request: Request, job_id: str, level: Level, desk: AtDesk, *, find: str = "", starts: str = "") -> Response:
    """Ask for the line, the model or the year; no model is asked for before its line is known."""
    job = desk.job(job_id)
    if level == "model" and "line" not in job.vehicle:
        return go_to(_address(job_id, "line"))
    names = names_of(desk.shelf, job, level)
    if find and level == "line":
        # Who knows the model's name need not know the line's.
        names = [*names, *(f"{line}{BETWEEN}{model}" for line, models in desk.shelf.lines.items() for model in models)]
    return show_page(request, "vehicle.html", _page(desk, job_id, level, list_names(names, find=find, starts=starts)))


@router.post("/jobs/{job_id}/vehicle/{level}")
async def take(request: Request, job_id: str, level: Level, desk: AtDesk) -> RedirectResponse:
    """Take one choice, or "don't know", and ask for what is open after it."""
    choice = (await form_of(request)).get("choice", "")
    job = desk.change(job_id, lambda job: choose(desk.shelf, job, level, choice))
    for row_id in job.rows:
        desk.change(row_id, lambda row: replace(row, vehicle=job.vehicle))
    asks: Level | None = "year" if BETWEEN in choice else _NEXT[level]
    if asks is None or "line" not in job.vehicle:
        return go_to(f"/jobs/{job_id}/{_after(job)}")
    return go_to(_address(job_id, asks))


def names_of(shelf: Shelf, job: Job, level: Level) -> Sequence[str]:
    """Return what there is to choose from, as far as the car is known."""
    line, model = job.vehicle.get("line", ""), job.vehicle.get("model", "")
    if level == "line":
        return list(shelf.lines)
    if level == "model":
        return shelf.lines.get(line, [])
    return [str(year) for year in shelf.years(line, model)]


def choose(shelf: Shelf, job: Job, level: Level, choice: str) -> Job:
    """Return the job with one thing more known of its car; what the catalogue lacks counts as not said.

    A line or a model that changes takes back what was known below it.
    """
    line, _, model = choice.partition(BETWEEN)
    if level == "line":
        known = {"line": line} if line in shelf.lines else {}
        same = known.get("line") == job.vehicle.get("line") and not model
        job = job if same else replace(job, vehicle=known)
        return choose(shelf, job, "model", model) if model else job
    if choice not in names_of(shelf, job, level):
        return replace(job, vehicle={key: said for key, said in job.vehicle.items() if key != level})
    return replace(job, vehicle={**job.vehicle, level: choice})


def _page(desk: Desk, job_id: str, level: Level, choices: NameList) -> VehiclePage:
    job = desk.job(job_id)
    line = job.vehicle.get("line", "")
    above: list[Level] = [each for each in _NEXT if each != level and each in job.vehicle]
    return VehiclePage(
        job_id=job_id,
        steps=steps_of(job_id, job, "vehicle/line"),
        level=level,
        title=_TITLES[level].format(line=line),
        say=_SAY[level].format(line=line) if job.entrance == "phone" else "",
        hint=_HINTS[level] if job.entrance != "phone" else "",
        known=[(each, job.vehicle[each]) for each in above],
        chosen=job.vehicle.get(level, ""),
        choices=choices,
        answer=ranked_of(desk.standing(job_id).identification, 4) if job.entrance == "phone" and line else None,
    )


def _after(job: Job) -> str:
    if job.entrance == "bench":
        return "result" if job.bench else "bench"
    return "ask" if job.entrance == "phone" else "looks"


def _address(job_id: str, level: Level) -> str:
    return f"/jobs/{job_id}/vehicle/{level}"
