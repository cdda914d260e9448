"""The result that everybody can read: verdicts, ranking, charts, order sheet; keeping it as a case."""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import date
from typing import Any

from fastapi import APIRouter, Request
from markupsafe import Markup
from starlette.concurrency import run_in_threadpool
from starlette.responses import HTMLResponse, RedirectResponse

from service.charts import ReadingChart, reading_chart
from service.identification_text import without_repetition
from service.pages.answers import (
    NextCheck,
    PartVerdict,
    Ranked,
    in_a_sentence,
    next_checks_of,
    ranked_of,
    verdicts_of,
)
from service.pages.car import SHOWN_WAYS, Step, form_of, steps_of
from service.pages.desk import AtDesk, Standing
from service.pages.frame import frame_of, go_to, show_page
from service.pages.job import Job, question_id
from service.pages.lengths import Unit, show_length
from service.pages.questions import QUICK, evidence_words
from service.pages.reading_charts import charts_of
from service.pages.said import answer_words, place_words
from service.pages.sentences import in_unit
from service.stored_photo import without_location

router = APIRouter()
SHOWN_ROWS = 6
_BY_RECORD = {"option_code": "car.option_code", "vin": "car.vin", "built": "car.built"}


@dataclass(frozen=True)
class Way:
    """A check still worth making, the axle where it has to be said, and the address of the form that takes it."""

    check: NextCheck
    axle_words: str
    address: str


@dataclass(frozen=True)
class Undecided:
    """Packages that can't be told apart, in words."""

    packages: Sequence[str]
    axle: str
    any_reading: bool
    resolved_by: Sequence[str]
    same_parts: Sequence[str]


@dataclass(frozen=True)
class Drawn:
    """A chart, what it is of, and its reading in words."""

    title: str
    said: str
    svg: Markup


@dataclass(frozen=True)
class ResultPage:
    """Context of ``result.html``."""

    job_id: str
    job: Job
    steps: Sequence[Step]
    answer: Ranked
    verdicts: Sequence[PartVerdict]
    ways: Sequence[Way]
    conflicts: Sequence[Mapping[str, Any]]
    charts: Sequence[Drawn]
    undecided: Sequence[Undecided]
    order: Sequence[Mapping[str, Any]]
    care: Sequence[str]
    wear: Sequence[Mapping[str, Any]]
    cautions: Sequence[str]
    ignored: Sequence[Mapping[str, Any]]
    why: Sequence[Mapping[str, Any]]
    left_out: Mapping[str, str]
    rests_on: Sequence[tuple[str, str]]
    customer_text: str
    photos_held: int
    made_on: str
    catalogue: str


@router.get("/jobs/{job_id}/result")
def result(request: Request, job_id: str, desk: AtDesk) -> HTMLResponse:
    """Show what the evidence says."""
    return show_page(request, "result.html", _page(desk.standing(job_id), frame_of(request).unit))


@router.post("/jobs/{job_id}/keep")
async def keep(request: Request, job_id: str, desk: AtDesk) -> RedirectResponse:
    """Keep the job as a case; its photos only where their owner agrees, without place and time."""
    form = await form_of(request)
    standing = desk.standing(job_id)
    cases = desk.context.cases
    case_id = await run_in_threadpool(cases.keep, standing.evidence, standing.identification)
    if form.get("consent") == "yes":
        for shot in standing.job.shots:
            held = desk.photos.get(shot.key)
            if held is not None:
                photo = await run_in_threadpool(without_location, held.content, shot.name)
                cases.add_photo(case_id, photo)
    desk.change(job_id, lambda job: replace(job, kept_as=case_id))
    return go_to(f"/jobs/{job_id}/result")


def _page(standing: Standing, unit: Unit) -> ResultPage:
    said = standing.identification
    orders = (said.get("order") or {}).get("axles", ())
    return ResultPage(
        job_id=standing.job_id,
        job=standing.job,
        steps=steps_of(standing.job_id, standing.job, "result"),
        answer=ranked_of(said, SHOWN_ROWS),
        verdicts=verdicts_of(said),
        ways=_ways(standing),
        conflicts=said["conflicts"],
        charts=[_drawn(chart, lambda mm: show_length(mm, unit)) for chart in charts_of(said)],
        undecided=[_undecided(group) for group in without_repetition(said["cannot_tell_apart"])],
        order=orders,
        care=list(dict.fromkeys(note["text"] for axle in orders for note in axle.get("care", ()))),
        wear=_wear(said.get("wear")),
        cautions=said["cautions"],
        ignored=said["ignored"],
        why=[row for row in said["candidates"][:3] if row.get("why")],
        left_out={evidence_words(place.split(".", 1)[1]): why for place, why in standing.faults.items()},
        rests_on=_rests_on(standing, unit),
        customer_text=customer_text(standing, unit),
        made_on=date.today().isoformat(),
        catalogue=standing.desk.context.catalogue.name,
        photos_held=sum(standing.desk.photos.get(shot.key) is not None for shot in standing.job.shots),
    )


def _drawn(chart: ReadingChart, show: Callable[[float], str]) -> Drawn:
    low, high = show(chart.low_mm).rsplit(" ", 1)[0], show(chart.high_mm)
    return Drawn(chart.title, f"{show(chart.value_mm)}, 95 %: {low} to {high}", reading_chart(chart, show))


def _rests_on(standing: Standing, unit: Unit) -> list[tuple[str, str]]:
    """Return what was read, typed and photographed, in words."""
    job = standing.job
    sound = [place for place in job.answers if place not in standing.faults]
    said = [(place_words(job, place), answer_words(place, job.answers[place], unit)) for place in sound]
    for shot in job.shots:
        lengths = shot.measurement.get("dimensions") or {}
        read = [f"{evidence_words(key).lower()} {show_length(each['value'], unit)}" for key, each in lengths.items()]
        said.append((f"photo {shot.name}", ", ".join(read) or "no length"))
    return said


def customer_text(standing: Standing, unit: Unit) -> str:
    """Return a short text for the customer: what may be ordered, what is open, what to look at."""
    job, verdicts = standing.job, verdicts_of(standing.identification)
    car = " ".join(job.vehicle[key] for key in ("line", "model", "year") if key in job.vehicle)
    lines = [f"Brakes{' for your ' + car if car else ''}:"]
    lines += [f"- {verdict.sentence}" for verdict in verdicts]
    ready = all(verdict.verdict == "ready" for verdict in verdicts) and bool(verdicts)
    checks = next_checks_of(standing.identification)
    if not ready and checks:
        lines.append(f"What would help most: {in_a_sentence(checks[0])}. {checks[0].how}")
    lines.append(
        "Please compare the numbers on the old parts before fitting. The maker's data and the marking on the part "
        "prevail; work on brakes is for qualified people."
    )
    return in_unit("\n".join(lines), unit)


def _ways(standing: Standing) -> list[Way]:
    """Return the checks still worth making that were not answered yet, each axle named where there are several."""
    job = standing.job
    checks = [check for check in next_checks_of(standing.identification) if _place(check) not in job.answers]
    shown = checks[:SHOWN_WAYS]
    several = len({check.axle for check in shown if check.axle != "car"}) > 1
    return [
        Way(check, _axle_words(job, check, several=several), _address(standing.job_id, job, check)) for check in shown
    ]


def _axle_words(job: Job, check: NextCheck, *, several: bool) -> str:
    return check.axle if several and check.axle in ("front", "rear") else job.axle_words(_place(check))


def _place(check: NextCheck) -> str:
    """Return where a check's answer is kept."""
    return _BY_RECORD.get(check.key) or question_id(check.axle, check.key)


def _address(job_id: str, job: Job, check: NextCheck) -> str:
    """Return where a check is answered: a question on the phone, else the field of a form."""
    place = _place(check)
    if check.key in _BY_RECORD:
        form = "readings" if job.bench else "looks"
    else:
        form = "looks" if check.key in QUICK and not job.bench and not job.axle_words(place) else "readings"
    return f"/jobs/{job_id}/ask/{place}" if job.entrance == "phone" else f"/jobs/{job_id}/{form}#{place}"


def _undecided(group: Mapping[str, Any]) -> Undecided:
    return Undecided(
        packages=group["packages"],
        axle=group["axle"],
        any_reading=group["by"] == "any reading",
        resolved_by=_first([_way(group, key) for key in group["resolved_by"]]),
        same_parts=group["same_parts"],
    )


def _way(group: Mapping[str, Any], key: str) -> str:
    """Return a way to tell a group apart, with its axle where it is not the group's own."""
    other = {"front": "rear", "rear": "front"}.get(group["axle"], "the other axle")
    return f"{evidence_words(key).lower()}{f' ({other})' if key in group['by_other_axle'] else ''}"


def _first(words: list[str]) -> list[str]:
    """Return a list that a person reads: a handful, and how many more there are."""
    more = len(words) - SHOWN_WAYS
    return words if more <= 1 else [*words[:SHOWN_WAYS], f"{more} other checks"]


def _wear(wear: Any) -> list[Mapping[str, Any]]:
    if not wear:
        return []
    return list(wear) if isinstance(wear, list) else [wear]
