"""On the bench: many photos at once, a row each, corrections by hand, and what each rotor fits."""

import asyncio
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

from fastapi import APIRouter, Request
from starlette.datastructures import FormData, UploadFile
from starlette.responses import HTMLResponse, RedirectResponse, Response

from service.faults import problem_of
from service.labels import label_sheet
from service.pages.answers import PartVerdict, verdicts_of
from service.pages.desk import AtDesk, Desk, Standing
from service.pages.frame import go_to, show_page
from service.pages.job import Job, Shot
from service.pages.photo import MEASURED_TAG, REFERENCES, measure_shot, new_shot
from service.problems import Problem
from service.results import spreadsheet
from service.workers import Busy, WorkerLost

router = APIRouter()
FITS_FROM = 0.02
MOST_FILES = 200
_REFERENCES = [pair for pair in REFERENCES if pair[0] != MEASURED_TAG]  # its size is said photo by photo
MOST_TRIES, PAUSE_S = 20, 1.0


@dataclass(frozen=True)
class Row:
    """One rotor: its photo, its reading, what it fits."""

    job_id: str
    shot: Shot
    shown: bool
    diameter: dict[str, float] | None
    surface: str
    verdicts: Sequence[PartVerdict]
    fits: Sequence[dict[str, Any]]


@dataclass(frozen=True)
class BenchPage:
    """Context of ``bench.html``; ``job_id`` is empty before the first photo."""

    job_id: str
    axles: Sequence[tuple[str, str]]
    axle: str
    vehicle: str
    references: Sequence[tuple[str, str]]
    rows: Sequence[Row]


_AXLES = (("unknown", "Not known"), ("front", "All front"), ("rear", "All rear"))


@router.get("/bench")
def start_on_the_bench(request: Request) -> HTMLResponse:
    """Ask for photos."""
    return show_page(request, "bench.html", BenchPage("", _AXLES, "unknown", "", _REFERENCES, ()))


@router.post("/bench")
async def begin(request: Request, desk: AtDesk) -> RedirectResponse:
    """Open a bench with the first photos."""
    async with request.form(max_files=MOST_FILES) as form:
        job_id = desk.open_job(Job(entrance="bench", axle=_axle(form), parts="rotor"))
        await _take_photos(request, desk, job_id, form)
    answer = go_to(f"/jobs/{job_id}/bench")
    answer.set_cookie("job", job_id, max_age=30 * 86400, httponly=True, samesite="lax")
    return answer


@router.get("/jobs/{job_id}/bench")
def bench(request: Request, job_id: str, desk: AtDesk) -> HTMLResponse:
    """Show the rows."""
    job = desk.job(job_id)
    rows = [_row(desk, row_id) for row_id in job.rows]
    shown = [row for row in rows if row is not None]
    page = BenchPage(job_id, _AXLES, job.axle, " ".join(job.vehicle.values()), _REFERENCES, shown)
    return show_page(request, "bench.html", page)


@router.post("/jobs/{job_id}/bench")
async def add(request: Request, job_id: str, desk: AtDesk) -> RedirectResponse:
    """Add photos to a bench."""
    desk.job(job_id)
    async with request.form(max_files=MOST_FILES) as form:
        await _take_photos(request, desk, job_id, form)
    return go_to(f"/jobs/{job_id}/bench")


@router.get("/jobs/{job_id}/labels.pdf")
def labels(job_id: str, desk: AtDesk) -> Response:
    """Return a label for each rotor, to be printed and stuck on."""
    return _download(label_sheet(_records(desk, job_id)), "application/pdf", "labels.pdf")


@router.get("/jobs/{job_id}/results.csv")
def results(job_id: str, desk: AtDesk) -> Response:
    """Return the rows as a spreadsheet."""
    return _download(spreadsheet(_records(desk, job_id)), "text/csv", "results.csv")


def _download(content: bytes, media_type: str, name: str) -> Response:
    disposition = {"Content-Disposition": f'attachment; filename="{name}"'}
    return Response(content, media_type=media_type, headers=disposition)


def _records(desk: Desk, job_id: str) -> list[dict[str, Any]]:
    """Return the bench's rotors in the form that a batch's results have."""
    standings = [desk.standing(row_id) for row_id in desk.job(job_id).rows]
    return [_record(number, standing) for number, standing in enumerate(standings, 1) if standing.job.shots]


def _record(number: int, standing: Standing) -> dict[str, Any]:
    shot = standing.job.shots[0]
    return {
        "key": standing.job_id,
        "rotor": shot.name,
        "rows": [number],
        "photos": [shot.name],
        "measurements": [shot.measurement] if shot.measurement else [],
        "identification": standing.identification,
        "problems": [shot.problem] if shot.problem else [],
    }


async def _take_photos(request: Request, desk: Desk, bench_id: str, form: FormData) -> None:
    photos = [photo for photo in form.getlist("photo") if isinstance(photo, UploadFile) and photo.filename]
    if not photos:
        raise Problem("wrong-request", "No photo was chosen. Go back, choose some, and send them again.")
    pieces = [await photo.read() for photo in photos]
    shots = [
        replace(new_shot(request, form, ""), name=str(photo.filename)[-100:], axle=_axle(form)) for photo in photos
    ]
    vehicle = desk.job(bench_id).vehicle
    places = asyncio.Semaphore(desk.context.settings.workers)

    async def one(shot: Shot, content: bytes) -> Shot:
        async with places:
            return await _measure_patiently(desk, shot, content)

    for shot in await asyncio.gather(*map(one, shots, pieces)):
        row = Job(entrance="bench", axle=shot.axle, parts="rotor", shots=(shot,), bench=bench_id, vehicle=vehicle)
        row_id = desk.open_job(row)
        desk.change(bench_id, lambda job, row_id=row_id: replace(job, rows=(*job.rows, row_id)))  # type: ignore[misc]


async def _measure_patiently(desk: Desk, shot: Shot, content: bytes) -> Shot:
    """Measure one of many photos; when others take every place, wait for one."""
    for _ in range(MOST_TRIES):
        try:
            return await measure_shot(desk, shot, content)
        except (Busy, WorkerLost) as fault:
            shot = replace(shot, problem=problem_of(fault).detail)
            await asyncio.sleep(PAUSE_S)
    return shot


def _axle(form: FormData) -> str:
    axle = form.get("axle")
    return axle if isinstance(axle, str) and axle in ("front", "rear") else "unknown"


def _row(desk: Desk, row_id: str) -> Row | None:
    """Return one rotor's row; None where its photo was left out."""
    standing = desk.standing(row_id)
    if not standing.job.shots:
        return None
    shot = standing.job.shots[0]
    surface = shot.measurement.get("surface") or {}
    fits = [row for row in standing.identification["candidates"] if row["probability"] >= FITS_FROM]
    return Row(
        job_id=row_id,
        shot=shot,
        shown=desk.photos.get(shot.key) is not None,
        diameter=(shot.measurement.get("dimensions") or {}).get("diameter_mm"),
        surface=max(surface, key=surface.__getitem__) if surface else "",
        verdicts=verdicts_of(standing.identification),
        fits=fits,
    )
