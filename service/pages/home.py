"""The first page, which asks where you are."""

from dataclasses import dataclass

from fastapi import APIRouter, Request
from starlette.responses import HTMLResponse

from service.pages.desk import AtDesk, Desk
from service.pages.frame import frame_of, show_page
from service.problems import Problem

router = APIRouter()
_LAST_STEP = {"car": "looks", "phone": "ask", "bench": "bench"}


@dataclass(frozen=True)
class HomePage:
    """Context of ``home.html``: where the last job goes on, empty where there is none."""

    goes_on: str


@router.get("/")
def home(request: Request, desk: AtDesk) -> HTMLResponse:
    """Offer the three entrances."""
    return show_page(request, "home.html", HomePage(goes_on(desk, frame_of(request).job)))


def goes_on(desk: Desk, job_id: str) -> str:
    """Return where a job goes on; empty where there is none of that id."""
    try:
        return f"/jobs/{job_id}/{_LAST_STEP[desk.job(job_id).entrance]}" if job_id else ""
    except Problem:
        return ""
