"""The web pages: three entrances, photo, result, catalogue, guide."""

from dataclasses import dataclass
from urllib.parse import urlsplit

from fastapi import APIRouter, Request
from starlette.responses import Response

from service.pages import (
    bench,
    car,
    guide_page,
    home,
    overlap_page,
    phone,
    photo,
    preferences,
    result,
    shelves,
    vehicle,
)
from service.pages.desk import desk_of
from service.pages.frame import frame_of, show_page
from service.problems import MEDIA_TYPE, Problem

router = APIRouter(include_in_schema=False)
for _page in (home, preferences, car, vehicle, phone, bench, photo, result, shelves, overlap_page, guide_page):
    router.include_router(_page.router)
LOST = ("not-found", "wrong-method")
_NOT_BY_ITSELF = "This address only takes what a form sends to it; it can't be opened by itself."


@dataclass(frozen=True)
class ProblemPage:
    """Context of ``problem.html``.

    Attributes
    ----------
    kind, title, detail : str
        As in the problem; methods and headers are a program's words, so a person gets others for them.
    back : str
        Address of the page that led here; empty where not known.
    job : str
        Where the job goes on that this browser worked on last; empty where none.
    """

    kind: str
    title: str
    detail: str
    back: str
    job: str


def error_page(request: Request, problem: Problem) -> Response:
    """Show a problem to a person; a page's own script, which asks for the document, gets that."""
    if request.headers.get("accept", "").startswith(MEDIA_TYPE):
        return problem.response()
    answer = show_page(request, "problem.html", _problem_page(request, problem), problem.status)
    answer.headers.update(problem.headers)
    return answer


def _problem_page(request: Request, problem: Problem) -> ProblemPage:
    came_from = urlsplit(request.headers.get("referer", ""))
    here = came_from.netloc == request.headers.get("host")
    back = f"/{came_from.path.lstrip('/')}?{came_from.query}".rstrip("?") if here else ""
    detail = _NOT_BY_ITSELF if problem.kind == "wrong-method" else problem.detail
    return ProblemPage(
        kind=problem.kind,
        title=problem.title,
        detail=detail,
        back=back,
        job=home.goes_on(desk_of(request), frame_of(request).job) if problem.kind in LOST else "",
    )
