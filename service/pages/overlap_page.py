"""What measuring can't tell apart, line by line, as a matrix of packages."""

from collections.abc import Sequence
from dataclasses import dataclass

from fastapi import APIRouter, Request
from starlette.responses import HTMLResponse

from catalogue.overlaps import Matrix, Overlaps, Pair, overlaps
from service.pages.desk import AtDesk
from service.pages.frame import frame_of, show_page
from service.pages.lengths import Unit, show_length
from service.pages.questions import evidence_words
from service.problems import Problem

router = APIRouter()
MOST_LINES = 24  # where there are more, the way to another line leads over the catalogue's page
FINE_MM = 1.0  # a reading that needs to be finer than this is marked


@dataclass(frozen=True)
class Cell:
    """Two packages: how they are told apart, in a word, and how hard that is."""

    words: str
    kind: str
    title: str


@dataclass(frozen=True)
class MatrixView:
    """One axle's matrix, row by row."""

    axle: str
    packages: Sequence[str]
    rows: Sequence[Sequence[Cell]]


@dataclass(frozen=True)
class OverlapsPage:
    """Context of ``overlaps.html``."""

    line: str
    lines: Sequence[str]
    matrices: Sequence[MatrixView]
    hard: Sequence[tuple[str, str, str]]


@router.get("/catalogue/overlaps")
def overlap_page(request: Request, desk: AtDesk, line: str = "") -> HTMLResponse:
    """Show one line's matrices, or the first line's where none is named."""
    lines = list(desk.shelf.lines)
    chosen = line or lines[0]
    if chosen not in lines:
        raise Problem("not-found", f"This catalogue has no line {chosen}.")
    found, unit = overlaps(desk.shelf.only(chosen)), frame_of(request).unit
    views = [_view(matrix, found, unit) for matrix in found.matrices]
    hard = [_in_words(pair) for pair in found.pairs]
    return show_page(
        request, "overlaps.html", OverlapsPage(chosen, lines if len(lines) <= MOST_LINES else (), views, hard)
    )


def _view(matrix: Matrix, found: Overlaps, unit: Unit) -> MatrixView:
    pairs = {
        frozenset(pair.packages): pair for pair in found.pairs if (pair.line, pair.axle) == (matrix.line, matrix.axle)
    }
    numbers = range(len(matrix.packages))
    rows = [[_cell(matrix, (row, column), pairs, unit) for column in numbers] for row in numbers]
    return MatrixView(matrix.axle, matrix.packages, rows)


def _cell(matrix: Matrix, at: tuple[int, int], pairs: dict[frozenset[str], Pair], unit: Unit) -> Cell:
    row, column = at
    if row == column:
        return Cell("", "self", "")
    both = f"{matrix.packages[row]} and {matrix.packages[column]}"
    if not matrix.by_reading[row, column]:
        return Cell("✕", "same", f"{both}: no reading tells them apart")
    needs_mm = float(matrix.needs_std_mm[row, column])
    if needs_mm == 0:
        pair = pairs.get(frozenset((matrix.packages[row], matrix.packages[column])))
        by = ", ".join(evidence_words(each.evidence).lower() for each in pair.separated_by) if pair else "a look"
        return Cell("look", "looks", f"{both}: no length tells them apart, but {by}")
    words = show_length(needs_mm, unit)
    return Cell(words, "fine" if needs_mm < FINE_MM else "easy", f"{both}: a length read to {words} tells them apart")


def _in_words(pair: Pair) -> tuple[str, str, str]:
    by = ", ".join(evidence_words(each.evidence).lower() for each in pair.separated_by) or "nothing that can be read"
    return " and ".join(pair.packages), pair.axle, by
