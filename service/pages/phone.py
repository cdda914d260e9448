"""On the phone: one question at a time, what settles most for this car first, the ranking always in sight."""

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from fastapi import APIRouter, Request
from starlette.responses import HTMLResponse, RedirectResponse

from service.pages.answers import Ranked, next_checks_of, ranked_of
from service.pages.car import Step, form_of, steps_of, take_form
from service.pages.desk import AtDesk, Standing
from service.pages.forms import Field, fields_of
from service.pages.frame import frame_of, go_to, show_page
from service.pages.job import PLACES, Job, question_id
from service.pages.lengths import Unit
from service.pages.questions import Question, question_of
from service.pages.said import answer_words, place_words
from service.problems import Problem

router = APIRouter()
WORTH_ASKING = 0.05
LESS_LIKELY = 0.5
# Asked after what can be seen: a vehicle number names no package by itself, but leads to the records that do.
RECORDS = ("car.vin", "car.option_code", "car.built")


@dataclass(frozen=True)
class Said:
    """One question already answered, to be changed."""

    words: str
    answer: str
    address: str


@dataclass(frozen=True)
class AskPage:
    """Context of ``ask.html``."""

    job_id: str
    steps: Sequence[Step]
    field: Field
    say: str
    said: Sequence[Said]
    number: int
    previous: str
    answer: Ranked


@router.get("/jobs/{job_id}/ask")
def ask_next(job_id: str, desk: AtDesk) -> RedirectResponse:
    """Go to the question that settles most, or to the result where none is left."""
    place = _next_place(desk.standing(job_id))
    return go_to(f"/jobs/{job_id}/ask/{place}" if place else f"/jobs/{job_id}/result")


@router.get("/jobs/{job_id}/ask/{place}")
def ask(request: Request, job_id: str, place: str, desk: AtDesk) -> HTMLResponse:
    """Ask one question."""
    return show_page(request, "ask.html", _page(desk.standing(job_id), place, frame_of(request).unit))


@router.post("/jobs/{job_id}/ask/{place}")
async def take(request: Request, job_id: str, place: str, desk: AtDesk) -> RedirectResponse:
    """Take one answer, or "don't know", and go on."""
    _known(place)
    form = await form_of(request)
    if form.get("do") == "pass" or not form.get(place, "").strip():
        desk.change(job_id, lambda job: job.pass_over(place))
        return go_to(f"/jobs/{job_id}/ask")
    _, open_at = take_form(desk, job_id, form)
    return go_to(f"/jobs/{job_id}/ask/{place}" if open_at == place else f"/jobs/{job_id}/ask")


def _next_place(standing: Standing) -> str:
    """Return where the next answer goes: what settles much, the records, then the rest; empty where all is said."""
    job = standing.job
    done = {*job.answers, *job.passed}
    if done and standing.identification["verdict"] in ("ready", "no-match"):
        return ""
    worth = dict(_worths(standing))
    ranked = sorted(worth, key=lambda place: -worth[place])
    much = [place for place in ranked if worth[place] >= WORTH_ASKING]
    return next((place for place in (*much, *RECORDS, *ranked) if place not in done), "")


def _worths(standing: Standing) -> Iterator[tuple[str, float]]:
    """Yield where each check's answer goes and what asking is worth, bits a minute as far as this customer can tell.

    A customer has minutes, not a workshop. Each "don't know" makes it less likely that the next thing of its kind is
    known, and another axle than the wanted one is a walk round the car.
    """
    job = standing.job
    unknown = Counter(question.kind for place in job.passed if (question := question_of(place.split(".", 1)[1])))
    for check in next_checks_of(standing.identification):
        question = question_of(check.key)
        for axle in job.axles if check.axle == "car" else (check.axle,):
            if question is not None:
                bits_a_minute = check.gain_bits / max(check.minutes, 0.5)
                tries = unknown[question.kind] + (axle not in job.axles)
                yield question_id(axle, check.key), bits_a_minute * LESS_LIKELY**tries


def _page(standing: Standing, place: str, unit: Unit) -> AskPage:
    job = standing.job
    _known(place)
    (field,) = fields_of(job, [place], standing.faults, standing.desk.bounds)
    axle = place.split(".", 1)[0]
    return AskPage(
        job_id=standing.job_id,
        steps=steps_of(standing.job_id, job, "ask"),
        field=field,
        say=_say(job, field.question, axle),
        said=_said(standing, unit),
        number=len({*job.answers, *job.passed} - {place}) + 1,
        previous=_previous(standing, place),
        answer=ranked_of(standing.identification, 4),
    )


def _say(job: Job, question: Question, axle: str) -> str:
    """Return what to read out; where it is about another axle than the wanted one, with the reason."""
    said = question.say.format(axle=axle if axle in ("front", "rear") else "").replace("  ", " ")
    if axle not in ("front", "rear") or axle in job.axles:
        return said
    return f"The {axle} can tell us about your {' and '.join(job.axles)} brakes too. {said}"


def _known(place: str) -> None:
    axle, _, key = place.partition(".")
    if question_of(key) is None or axle not in PLACES or question_id(axle, key) != place:
        raise Problem("not-found", "There is no such question.")


def _said(standing: Standing, unit: Unit) -> list[Said]:
    job = standing.job
    answered = [
        Said(place_words(job, place), answer_words(place, answer, unit), f"/jobs/{standing.job_id}/ask/{place}")
        for place, answer in job.answers.items()
    ]
    passed = [
        Said(place_words(job, place), "don't know", f"/jobs/{standing.job_id}/ask/{place}") for place in job.passed
    ]
    return answered + passed


def _previous(standing: Standing, place: str) -> str:
    """Return the address of the question before this one."""
    order = [*standing.job.answers, *standing.job.passed]
    before = order[: order.index(place)] if place in order else order
    return f"/jobs/{standing.job_id}/ask/{before[-1]}" if before else f"/jobs/{standing.job_id}/wanted"
