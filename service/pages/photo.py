"""The photo: how to take it, the upload, what was found in it, and its correction by hand."""

import secrets
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

from fastapi import APIRouter, Request
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile
from starlette.responses import HTMLResponse, RedirectResponse, Response

from service.faults import problem_of
from service.measuring import PhotoFault
from service.options import PHOTO_OPTIONS, OptionError, parse_order
from service.pages.answers import Ranked, ranked_of
from service.pages.car import Step, steps_of
from service.pages.desk import AtDesk, Desk, Standing
from service.pages.evidence import told_options
from service.pages.frame import frame_of, go_to, show_page
from service.pages.job import Job, Shot
from service.pages.lengths import Unit, read_length
from service.pages.overlay import CORNERS, Curve, Handle, curves_of, handles_of, is_round
from service.pages.questions import evidence_words
from service.pages.working_photos import WorkingPhoto, prepare_photo
from service.problems import Problem

router = APIRouter()
MARKS = ("rim", "reference_points")
LENGTHS = ("lift_mm", "thickness_mm", "height_mm", "diameter_mm")
LIKELY = 0.02
MEASURED_TAG = "tag:measured"  # the form's own word; with the size beside it, it becomes "tag:39.2"
REFERENCES = (
    ("auto", "Find what is there"),
    ("card", "A bank card or another card of that size"),
    ("tag", "Printed face tag, check bar measures 100 mm"),
    (MEASURED_TAG, "Printed face tag, its black square measured"),
    ("tag:unmeasured", "Printed face tag, nothing measured"),
    ("coin:eur-2", "Coin: 2 euro"),
    ("coin:eur-1", "Coin: 1 euro"),
    ("coin:usd-0.25", "Coin: US quarter"),
    ("coin:gbp-2", "Coin: 2 pounds"),
    ("a4", "A sheet of A4"),
    ("letter", "A sheet of Letter"),
)
LIES = (
    ("", "As usual for it"),
    ("face", "On the rotor's face"),
    ("bench", "On the bench, beside the rotor"),
    ("hat", "On the hat"),
)
HATS = (("auto", "See for yourself"), ("up", "Hat up"), ("down", "Hat down"))


@dataclass(frozen=True)
class UploadPage:
    """Context of ``photo_upload.html``."""

    job_id: str
    job: Job
    steps: Sequence[Step]
    view: str
    axle: str
    options: Mapping[str, str]
    references: Sequence[tuple[str, str]]
    lies: Sequence[tuple[str, str]]
    hats: Sequence[tuple[str, str]]
    ring_mm: float | None
    shots: Sequence[Shot]


@dataclass(frozen=True)
class Reading:
    """One length read off the photo."""

    words: str
    value_mm: float
    low_mm: float
    high_mm: float


@dataclass(frozen=True)
class ShotPage:
    """Context of ``photo.html``."""

    job_id: str
    job: Job
    steps: Sequence[Step]
    shot: Shot
    picture: WorkingPhoto | None
    curves: Sequence[Curve]
    handles: Sequence[Handle]
    readings: Sequence[Reading]
    options: Mapping[str, str]
    references: Sequence[tuple[str, str]]
    lies: Sequence[tuple[str, str]]
    hats: Sequence[tuple[str, str]]
    marked: Sequence[tuple[str, str]]
    answer: Ranked


@router.get("/jobs/{job_id}/photo")
def upload_form(request: Request, job_id: str, desk: AtDesk) -> HTMLResponse:
    """Show how to take the photo, and take it."""
    standing = desk.standing(job_id)
    job = standing.job
    view = "edge" if request.query_params.get("view") == "edge" else "face"
    axle = request.query_params.get("axle", "")
    told = told_options(job, axle if axle in job.axles else job.axles[0], desk.bounds)
    page = UploadPage(
        job_id=job_id,
        job=job,
        steps=steps_of(job_id, job, "photo"),
        view=view,
        axle=axle if axle in job.axles else job.axles[0],
        options={"reference": "auto", "lies": "", "hat": "auto", **told},
        references=REFERENCES,
        lies=LIES,
        hats=HATS,
        ring_mm=_ring_mm(standing) if view == "face" else None,
        shots=job.shots,
    )
    return show_page(request, "photo_upload.html", page)


@router.post("/jobs/{job_id}/photo")
async def upload(request: Request, job_id: str, desk: AtDesk) -> RedirectResponse:
    """Measure an upload and show what was found."""
    desk.job(job_id)
    async with request.form(max_files=2) as form:
        shot = new_shot(request, form, "")
        photo = _chosen(form)
        content = await photo.read()
    shot = await measure_shot(desk, replace(shot, name=str(photo.filename)[-100:]), content)
    desk.change(job_id, lambda job: job.with_shot(shot))
    return go_to(f"/jobs/{job_id}/photos/{shot.key}")


@router.get("/jobs/{job_id}/photos/{key}")
def shot_page(request: Request, job_id: str, key: str, desk: AtDesk) -> HTMLResponse:
    """Show a photo with what was found drawn on it, and handles."""
    standing = desk.standing(job_id)
    shot = _shot(standing.job, key)
    picture = desk.photos.get(key)
    page = ShotPage(
        job_id=job_id,
        job=standing.job,
        steps=steps_of(job_id, standing.job, "photo"),
        shot=shot,
        picture=picture,
        curves=curves_of(shot),
        handles=handles_of(shot, picture),
        readings=[
            Reading(evidence_words(k), d["value"], d["low"], d["high"])
            for k, d in (shot.measurement.get("dimensions") or {}).items()
        ],
        options={"reference": "auto", "lies": "", "hat": "auto", **shot.options},
        references=REFERENCES,
        lies=LIES,
        hats=HATS,
        marked=may_be_marked(shot),
        answer=ranked_of(standing.identification, 4),
    )
    return show_page(request, "photo.html", page)


@router.post("/jobs/{job_id}/photos/{key}")
async def fit_again(request: Request, job_id: str, key: str, desk: AtDesk) -> RedirectResponse:
    """Measure a photo again by what a person corrected."""
    old = _shot(desk.job(job_id), key)
    picture = desk.photos.get(key)
    if picture is None:
        raise Problem(
            "not-found", "The photo itself is held here no longer; its measurement is. Send the photo once more."
        )
    async with request.form() as form:
        shot = _corrected(request, form, old)
    shot = await measure_shot(desk, shot, picture.content)
    if shot.problem:
        shot = replace(shot, measurement=old.measurement)
    desk.change(job_id, lambda job: job.with_shot(shot))
    return go_to(f"/jobs/{job_id}/photos/{key}")


@router.post("/jobs/{job_id}/photos/{key}/remove")
def remove(job_id: str, key: str, desk: AtDesk) -> RedirectResponse:
    """Take a photo out of the job."""
    job = desk.change(job_id, lambda job: job.without_shot(key))
    desk.photos.drop(key)
    return go_to(f"/jobs/{job.bench}/bench" if job.bench else f"/jobs/{job_id}/photo")


@router.get("/jobs/{job_id}/photos/{key}/picture.jpg")
def picture(job_id: str, key: str, desk: AtDesk) -> Response:
    """Return the photo as it is shown."""
    _shot(desk.job(job_id), key)
    held = desk.photos.get(key)
    if held is None:
        raise Problem("not-found", "The photo itself is held here no longer.")
    return Response(held.shown_jpeg, media_type="image/jpeg", headers={"Cache-Control": "private, max-age=3600"})


async def measure_shot(desk: Desk, shot: Shot, content: bytes) -> Shot:
    """Return ``shot`` with what its photo measures, or with why the file or an option can't be used.

    Raises
    ------
    Busy, WorkerLost
        When nobody can measure it now: the sender still has it, and is told when to send it again.
    """
    try:
        order = parse_order(shot.options)
        measured = await desk.context.pool.measure(content, shot.name, order)
        if desk.photos.get(shot.key) is None:
            desk.photos.put(shot.key, await run_in_threadpool(prepare_photo, content))
    except (PhotoFault, OptionError) as fault:
        return replace(shot, problem=problem_of(fault).detail)
    return replace(shot, measurement=measured.measurement, problem="")


def _ring_mm(standing: Standing) -> float | None:
    """Return the narrowest friction ring among the rotors that are still likely, mm; None where none is known."""
    likely = [row["package"] for row in standing.identification["candidates"] if row["probability"] >= LIKELY]
    widths = standing.desk.shelf.ring_widths_mm(likely, standing.job.axles)
    return min(widths, default=None)


def new_shot(request: Request, form: FormData, key: str) -> Shot:
    """Return the photo that a form describes, unmeasured; without a ``key`` it gets a new one."""
    unit = frame_of(request).unit
    options = {name: text for name, text in form.items() if name in PHOTO_OPTIONS and isinstance(text, str) and text}
    if options.get("reference") == "bolt-circle":
        options["reference"] = f"bolt-circle:{_in_mm(str(form.get('bolt_circle') or ''), unit)}"
    if options.get("reference") == MEASURED_TAG:
        options["reference"] = f"tag:{_in_mm(str(form.get('tag') or ''), unit)}"
    options |= {name: _in_mm(options[name], unit) for name in LENGTHS if name in options}
    axle = str(form.get("axle") or "unknown")
    return Shot(key or secrets.token_urlsafe(9), "photo", axle, options)


def _corrected(request: Request, form: FormData, old: Shot) -> Shot:
    """Return a photo with what a person said anew: one thing by a button of its own, or the whole form."""
    options = dict(old.options)
    if form.get("marked"):
        return replace(old, options=options | {"reference": str(form.get("marked"))})
    if form.get("afresh"):
        return replace(old, options={name: text for name, text in options.items() if name not in MARKS})
    new = new_shot(request, form, old.key)
    found = (old.measurement or {}).get("details", {}).get("references", [])
    if "reference_points" in new.options and new.options.get("reference", "auto") == "auto" and len(found) == 1:
        new.options["reference"] = found[0]  # the thing whose corners were moved is the one that was found
    if options.get("reference", "auto") not in ("auto", new.options.get("reference", "auto")):
        new.options.pop("reference_points", None)  # corners belong to the thing that they were set on
    return replace(new, axle=old.axle, name=old.name)


def may_be_marked(shot: Shot) -> list[tuple[str, str]]:
    """Return what a person may have moved the corners of; empty where that is known.

    The fit finds a reference without being told its kind, but can take corners only of a thing whose size it knows.
    """
    if "reference_points" not in shot.options or shot.options.get("reference", "auto") != "auto":
        return []
    if is_round(shot):
        return [kind for kind in REFERENCES if kind[0].startswith("coin")]
    several = len(shot.options["reference_points"].split()) > CORNERS
    kinds = ("tag", "tag:unmeasured") if several else ("card", "tag", "tag:unmeasured", "a4", "letter")
    return [kind for kind in REFERENCES if kind[0] in kinds]


def _chosen(form: FormData) -> UploadFile:
    """Return the photo that was taken or chosen; a form sends the other file empty."""
    for name in ("camera", "photo"):
        photo = form.get(name)
        if isinstance(photo, UploadFile) and photo.filename:
            return photo
    raise Problem("wrong-request", "No photo was chosen. Go back, choose one, and send it again.")


def _in_mm(text: str, unit: Unit) -> str:
    """Return a typed length in bare millimetres; what is no length stays, for ``parse_order`` to tell."""
    try:
        return f"{read_length(text, unit):.3f}".rstrip("0").rstrip(".")
    except ValueError:
        return text


def _shot(job: Job, key: str) -> Shot:
    shot = job.shot(key)
    if shot is None:
        raise Problem("not-found", "This photo is not in the job any more.")
    return shot
