"""Units and colours: the reader's own, kept in this browser."""

from fastapi import APIRouter, Request
from starlette.responses import RedirectResponse

from service.pages.car import form_of
from service.pages.frame import THEMES, UNITS, go_to

router = APIRouter()
YEAR_S = 365 * 86400


@router.post("/preferences")
async def prefer(request: Request) -> RedirectResponse:
    """Remember a unit or a theme, and go back to where it was asked for."""
    form = await form_of(request)
    back = form.get("back", "/")
    answer = go_to("/" + back.lstrip("/\\"))  # only a path of this site
    for name, known in (("unit", UNITS), ("theme", THEMES)):
        if form.get(name) in known:
            answer.set_cookie(name, form[name], max_age=YEAR_S, samesite="lax")
    return answer
