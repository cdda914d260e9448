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
from service.pages.frame import show_page
from service.problems import MEDIA_TYPE, Problem

router = APIRouter(include_in_schema=False)
for _page in (home, preferences, car, vehicle, phone, bench, photo, result, shelves, overlap_page, guide_page):
    router.include_router(_page.router)


@dataclass(frozen=True)
class ProblemPage:
    """Context of ``problem.html``; ``back`` is the address of the form that was sent, empty where not known."""

    kind: str
    title: str
    detail: str
    back: str


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
    return ProblemPage(problem.kind, problem.title, problem.detail, back)
