"""From what was typed to the contract's evidence: what can't be is left out and said, never guessed."""

import re
from typing import Any

from service.pages.job import PARTS, Answer, Job
from service.pages.plausible import Bounds, fault_of, read_number
from service.pages.questions import Question, question_of
from service.translate import add_measurement

Wire = dict[str, Any]
BUILT = re.compile(r"(19|20)\d\d-(0[1-9]|1[0-2])")


def evidence_of(job: Job, bounds: dict[str, Bounds]) -> Wire:
    """Return the evidence that a job's sound answers and photos make.

    Parameters
    ----------
    job : Job
    bounds : dict of str to Bounds
        What is plausible for each key; an answer beyond is left out, as ``faults_of`` says.
    """
    faults = faults_of(job, bounds)
    sound = {place: answer for place, answer in job.answers.items() if place not in faults}
    evidence: Wire = {
        "vehicle": _vehicle(job, sound),
        "axles": {axle: {} for axle in job.axles},
        "wanted": [{"axle": axle, "part": part} for axle in job.axles for part in PARTS[job.parts]],
    }
    if "car.vin" in sound:
        evidence["vin"] = sound["car.vin"].text
    if "car.option_code" in sound:
        evidence["option_codes"] = sound["car.option_code"].text.replace(",", " ").split()
    for place, answer in sound.items():
        _add_reading(evidence, job, place, answer)
    for shot in job.shots:
        if shot.measurement:
            evidence = add_measurement(evidence, shot.axle, shot.measurement)
    return evidence


def faults_of(job: Job, bounds: dict[str, Bounds]) -> dict[str, str]:
    """Return, for each answer that can't be right, where it stands and why."""
    faults = {}
    for place, answer in job.answers.items():
        question = question_of(place.split(".", 1)[1])
        if question is not None:
            fault = _fault(question, answer, bounds)
            if fault:
                faults[place] = fault
    return faults


def _fault(question: Question, answer: Answer, bounds: dict[str, Bounds]) -> str:
    if question.key == "built" and not BUILT.fullmatch(answer.text.strip()):
        return f"“{answer.text}” is no month; write year and month, such as 2021-03"
    return fault_of(question, answer.text, answer.unit, bounds.get(question.key))


def _vehicle(job: Job, sound: dict[str, Answer]) -> Wire:
    vehicle: Wire = {key: text for key, text in job.vehicle.items() if text}
    if "year" in vehicle:
        vehicle["year"] = int(vehicle["year"])
    if "car.built" in sound:
        vehicle["built"] = sound["car.built"].text.strip()
    return vehicle


def _add_reading(evidence: Wire, job: Job, place: str, answer: Answer) -> None:
    """Put one answer where it belongs; what was said of the car itself belongs to each axle."""
    axle, key = place.split(".", 1)
    question = question_of(key)
    if question is None or key in ("vin", "option_code", "built"):
        return
    for name in job.axles if axle == "car" else (axle,):
        evidence["axles"].setdefault(name, {})[key] = _value(question, answer)


def _value(question: Question, answer: Answer) -> Any:
    if question.kind in ("choice", "text"):
        return answer.text.strip()
    if question.kind == "count":
        return int(read_number(question, answer.text, answer.unit))
    texts = answer.text.split(";") if question.key == "thickness_mm" else [answer.text]
    values = [round(read_number(question, text.strip(), answer.unit), 3) for text in texts]
    if answer.tool:
        tooled = [{"value": value, "tool": answer.tool} for value in values]
        return tooled if len(tooled) > 1 else tooled[0]
    return values if len(values) > 1 else values[0]


def told_options(job: Job, axle: str, bounds: dict[str, Bounds]) -> dict[str, str]:
    """Return the readings of ``axle`` that help a photo, as measure's options: its thickness and its height."""
    faults, told = faults_of(job, bounds), {}
    for key, answer in job.answers_for(axle):
        question = question_of(key)
        if key in ("thickness_mm", "height_mm") and question is not None and f"{axle}.{key}" not in faults:
            told[key] = f"{read_number(question, answer.text.split(';')[0].strip(), answer.unit):g}"
    return told
