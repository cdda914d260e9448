"""The photo guide as a page and as a PDF, and the face tags."""

from collections.abc import Sequence
from dataclasses import dataclass

from fastapi import APIRouter, Request
from starlette.responses import HTMLResponse, Response

from service.guide import CHAPTERS, PAPERS, REFERENCES, TITLE, Chapter, Paper, Reference, guide_sheet
from service.pages.frame import frame_of, show_page
from service.pages.sentences import in_unit
from service.problems import Problem
from service.sheet import tag_sheet

router = APIRouter()


@dataclass(frozen=True)
class GuidePage:
    """Context of ``guide.html``."""

    title: str
    references: Sequence[Reference]
    chapters: Sequence[Chapter]


@router.get("/guide")
def guide(request: Request) -> HTMLResponse:
    """Show how to take the photo."""
    return show_page(request, "guide.html", GuidePage(TITLE, REFERENCES, CHAPTERS))


@router.get("/guide.pdf")
def guide_pdf(request: Request, paper: str = "a4") -> Response:
    """Return the guide to be printed, in the reader's unit."""
    unit = frame_of(request).unit
    return _pdf(guide_sheet(_paper(paper), lambda text: in_unit(text, unit, decimals=2)), "photo-guide")


@router.get("/tags.pdf")
def tags_pdf(paper: str = "a4") -> Response:
    """Return the face tags to be printed."""
    return _pdf(tag_sheet(_paper(paper)), "face-tags")


def _paper(paper: str) -> Paper:
    for known in PAPERS:
        if known == paper:
            return "a4" if known == "a4" else "letter"
    raise Problem("wrong-request", f"Paper is a4 or letter, not {paper}.")


def _pdf(content: bytes, name: str) -> Response:
    return Response(
        content, media_type="application/pdf", headers={"Content-Disposition": f'inline; filename="{name}.pdf"'}
    )
