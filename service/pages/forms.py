"""Reading a submitted form: the wanted part, the answers."""

from collections.abc import Iterable, Mapping
from dataclasses import dataclass, replace
from typing import cast

from service.pages.job import AXLES, PARTS, PLACES, Answer, Job, question_id
from service.pages.lengths import Unit
from service.pages.plausible import Bounds
from service.pages.questions import CAR_QUESTIONS, QUESTIONS, Question, question_of
from service.pages.read_back import ReadBack, read_back

Form = Mapping[str, str]
VIN = "car.vin"


@dataclass(frozen=True)
class Field:
    """One question as a form shows it."""

    question: Question
    place: str
    answer: Answer
    fault: str
    bounds: Bounds | None
    axle_words: str
    read_back: ReadBack | None = None


def places_of(job: Job, keys: Iterable[str]) -> list[str]:
    """Return where the answers to ``keys`` are kept: one place for each axle of the job, or for the car."""
    return list(dict.fromkeys(question_id(axle, key) for key in keys for axle in job.axles))


def fields_of(job: Job, places: Iterable[str], faults: Mapping[str, str], bounds: Mapping[str, Bounds]) -> list[Field]:
    """Return the fields of a form that asks for the answers at ``places``."""
    return [
        _field(job, place, fault=faults.get(place, ""), bounds=bounds.get(place.split(".", 1)[1])) for place in places
    ]


def _field(job: Job, place: str, *, fault: str, bounds: Bounds | None) -> Field:
    question = _QUESTION_OF[place.split(".", 1)[1]]
    axle = job.axle_words(place)
    answer = job.answers.get(place, Answer())
    return Field(
        question=question,
        place=place,
        answer=answer,
        fault=fault,
        bounds=bounds,
        axle_words=f"{axle.capitalize()}: " if axle else "",
        read_back=read_back(answer.text) if place == VIN and answer.text else None,
    )


def take_answers(job: Job, form: Form) -> Job:
    """Return the job with every answer that the form carries; a field left empty takes its answer back."""
    for place, text in form.items():
        axle, _, key = place.partition(".")
        if axle in PLACES and ":" not in key and question_of(key) is not None:
            job = job.answer(place, _answer(form, place, text))
    return job


def _answer(form: Form, place: str, text: str) -> Answer:
    unit = form.get(f"{place}:unit", "mm")
    return Answer(
        text.strip()[:200], cast("Unit", unit if unit in ("mm", "in") else "mm"), form.get(f"{place}:tool", "")
    )


def take_wanted(job: Job, form: Form) -> Job:
    """Return the job with what is wanted."""
    axle, parts = form.get("axle", ""), form.get("parts", "")
    return replace(
        job,
        axle=axle if axle in AXLES else job.axle,
        parts=parts if parts in PARTS else job.parts,
    )


_QUESTION_OF = {**QUESTIONS, **CAR_QUESTIONS}
