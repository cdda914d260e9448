"""The catalogue in the browser: lines and models, rotors to scale, who looks like whom, and faults in place."""

import csv
import io
import tempfile
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path, PurePath

from fastapi import APIRouter, Request
from markupsafe import Markup
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile
from starlette.responses import HTMLResponse

from catalogue import CatalogueError, load_catalogue
from catalogue.faults import Fault
from service.charts import rotor_drawing
from service.pages.desk import AtDesk
from service.pages.frame import frame_of, show_page
from service.pages.lengths import show_length
from service.pages.name_list import NameList, list_names
from service.pages.shelf import Brake, Offer, figures_of
from service.problems import Problem

router = APIRouter()
MOST_FILES = 20
SHOWN_FAULTS = 500
MOST_MODELS = 100


@dataclass(frozen=True)
class CataloguePage:
    """Context of ``catalogue.html``: whole lines with their models and, where there are many, lines to choose from."""

    name: str
    lines: Mapping[str, Sequence[str]]
    choices: NameList
    counts: Mapping[str, int]
    notices: Sequence[str]


@dataclass(frozen=True)
class Drawing:
    """A rotor to scale, and whose it is."""

    svg: Markup
    part: str
    words: str
    packages: Sequence[str]


@dataclass(frozen=True)
class ModelPage:
    """Context of ``model.html``."""

    line: str
    model: str
    offers: Sequence[Offer]
    drawings: Sequence[Drawing]


@dataclass(frozen=True)
class FaultRow:
    """A fault, and the row it stands in as the file has it."""

    fault: Fault
    header: Sequence[str]
    cells: Sequence[str]


@dataclass(frozen=True)
class CheckPage:
    """Context of ``catalogue_check.html``."""

    may_point: bool
    folder: str
    checked: str
    rows: Sequence[FaultRow]
    count: int
    summary: str
    problem: str


@router.get("/catalogue")
def catalogue(request: Request, desk: AtDesk, *, line: str = "", find: str = "", starts: str = "") -> HTMLResponse:
    """List lines and models; where they are many, one line's models once it is chosen."""
    held, lines = desk.context.catalogue, desk.shelf.lines
    counts = {
        "fitments": len(held.fitments),
        "packages": len(held.packages.keys),
        "rotors": len(held.rotors),
        "pads": len(held.pads),
    }
    if line and line not in lines:
        raise Problem("not-found", f"This catalogue has no line {line}.")
    few = len(held.fitments.models) <= MOST_MODELS
    shown = {line: lines[line]} if line else lines if few else {}
    choices = NameList() if shown else list_names(list(lines), find=find, starts=starts)
    return show_page(request, "catalogue.html", CataloguePage(held.name, shown, choices, counts, held.notices))


@router.get("/catalogue/model")
def model(request: Request, desk: AtDesk, line: str, model: str) -> HTMLResponse:
    """Show what one model may have, each rotor drawn to one scale."""
    shelf = desk.shelf
    offers = shelf.offers(line, model)
    if not offers:
        raise Problem("not-found", f"This catalogue has no {line} {model}.")
    brakes = [brake for offer in offers for brake in offer.brakes]
    unit = frame_of(request).unit
    drawings = _drawings(brakes, shelf.largest_mm, lambda mm: show_length(mm, unit))
    return show_page(request, "model.html", ModelPage(line, model, offers, drawings))


@router.get("/catalogue/check")
def check_form(request: Request, desk: AtDesk) -> HTMLResponse:
    """Ask for a catalogue's files or folder."""
    return show_page(request, "catalogue_check.html", _check_page(desk.context.settings.is_loopback))


@router.post("/catalogue/check")
async def check(request: Request, desk: AtDesk) -> HTMLResponse:
    """Check a catalogue and show every fault in place."""
    may_point = desk.context.settings.is_loopback
    async with request.form(max_files=MOST_FILES) as form:
        folder = str(form.get("folder") or "").strip()
        with tempfile.TemporaryDirectory() as held:
            uploaded = await _store_files(form, Path(held))
            if not uploaded and not folder:
                page = _check_page(may_point, problem="Choose the CSV files of a catalogue, or name its folder.")
            elif not uploaded and not may_point:
                page = _check_page(
                    may_point, problem="A folder can be named only on the computer that runs Whichrotor."
                )
            else:
                page = await run_in_threadpool(_checked, Path(held) if uploaded else Path(folder), folder, may_point)
    return show_page(request, "catalogue_check.html", page, 422 if page.count or page.problem else 200)


async def _store_files(form: FormData, folder: Path) -> bool:
    files = [file for file in form.getlist("files") if isinstance(file, UploadFile) and file.filename]
    for file in files:
        name = PurePath(str(file.filename)).name  # a browser that sends a folder sends paths
        if name.endswith((".csv", ".json")):
            (folder / name).write_bytes(await file.read())
    return bool(files)


def _checked(path: Path, folder: str, may_point: bool) -> CheckPage:
    if not path.is_dir():
        return _check_page(may_point, folder=folder, problem=f"{folder} is no folder on this computer.")
    try:
        found = load_catalogue(path)
    except CatalogueError as error:
        rows = [_fault_row(path, fault) for fault in error.faults[:SHOWN_FAULTS]]
        return _check_page(may_point, folder=folder, rows=rows, count=len(error.faults))
    except OSError as fault:
        return _check_page(may_point, folder=folder, problem=f"{folder} can't be read: {fault.strerror}.")
    summary = f"{len(found.fitments)} fitments, {len(found.packages.keys)} packages, {len(found.rotors)} rotors."
    return _check_page(may_point, folder=folder, summary=" ".join([summary, *found.notices]))


def _check_page(
    may_point: bool,
    *,
    folder: str = "",
    rows: Sequence[FaultRow] = (),
    count: int = 0,
    summary: str = "",
    problem: str = "",
) -> CheckPage:
    return CheckPage(may_point, folder, folder, rows, count, summary, problem)


def _fault_row(folder: Path, fault: Fault) -> FaultRow:
    """Return a fault with the row of the file it stands in; without it where there is no such file or row."""
    try:
        text = (folder / fault.file).read_text("utf-8-sig", errors="replace")
    except OSError:
        return FaultRow(fault, (), ())
    lines = list(csv.reader(io.StringIO(text)))
    inside = 1 < fault.row <= len(lines)
    return FaultRow(fault, lines[0] if lines and inside else (), lines[fault.row - 1] if inside else ())


def _drawings(brakes: Sequence[Brake], largest_mm: float, show: Callable[[float], str]) -> list[Drawing]:
    by_part: dict[str, list[Brake]] = {}
    for brake in brakes:
        by_part.setdefault(brake.rotor.part, []).append(brake)
    return [_drawing(part, sharing, largest_mm, show) for part, sharing in by_part.items()]


def _drawing(part: str, sharing: Sequence[Brake], largest_mm: float, show: Callable[[float], str]) -> Drawing:
    rotor = sharing[0].rotor
    kinds = ", ".join(kind for kind in (rotor.surface, rotor.ventilation, rotor.construction) if kind)
    words = f"{show(rotor.diameter_mm)} x {show(rotor.thickness_mm)}, {kinds}"
    svg = rotor_drawing(figures_of(rotor), largest_mm=largest_mm, title=f"{part}: {words}")
    return Drawing(svg, part, words, list(dict.fromkeys(f"{brake.package} {brake.axle}" for brake in sharing)))
