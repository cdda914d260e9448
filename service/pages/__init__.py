"""The web pages: three entrances, photo, result, catalogue, guide."""

from dataclasses import dataclass

from fastapi import APIRouter, Request
from starlette.responses import Response

from service.pages import bench, car, guide_page, home, overlap_page, phone, photo, preferences, result, shelves
from service.pages.frame import show_page
from service.problems import MEDIA_TYPE, Problem

router = APIRouter(include_in_schema=False)
for _page in (home, preferences, car, phone, bench, photo, result, shelves, overlap_page, guide_page):
    router.include_router(_page.router)


@dataclass(frozen=True)
class ProblemPage:
    """Context of ``problem.html``."""

    title: str
    detail: str


def error_page(request: Request, problem: Problem) -> Response:
    """Show a problem to a person; a page's own script, which asks for the document, gets that."""
    if request.headers.get("accept", "").startswith(MEDIA_TYPE):
        return problem.response()
    answer = show_page(request, "problem.html", ProblemPage(problem.title, problem.detail), problem.status)
    answer.headers.update(problem.headers)
    return answer
