"""The API: the contract's documents over HTTP."""

from typing import Annotated, Any

from fastapi import APIRouter, Depends, Request, Response
from starlette.concurrency import run_in_threadpool
from starlette.datastructures import FormData, UploadFile

from catalogue import parse_json
from service.api_schema import EVIDENCE, PHOTO_TO_KEEP, PHOTO_TO_MEASURE, RESPONSES
from service.cases import StoredPhoto
from service.context import Context, context_of
from service.options import Order, parse_order
from service.problems import Problem
from service.stored_photo import without_location

router = APIRouter(prefix="/api", responses=RESPONSES)
InContext = Annotated[Context, Depends(context_of)]
PARTS_OF_FORM = 40
_YES = ("true", "1", "yes", "on")


@router.get("/health")
def health(context: InContext) -> dict[str, Any]:
    """Say that the service runs, and on what."""
    return {"status": "ok", "catalogue": context.catalogue.name, "fitments": len(context.catalogue.fitments)}


@router.get("/catalogue")
def catalogue(context: InContext) -> dict[str, Any]:
    """Return the lines and models that the catalogue knows, and how much it holds."""
    return context.catalogue.to_json()


@router.post("/measurements", openapi_extra=PHOTO_TO_MEASURE)
async def measurements(request: Request, context: InContext) -> dict[str, Any]:
    """Measure the photo of a multipart form; a refused photo is an answer like any other."""
    async with request.form(max_files=1, max_fields=PARTS_OF_FORM) as form:
        photo, order = photo_of(form), _order_of(form)
        content = await photo.read()
    measured = await context.pool.measure(content, photo.filename or "photo", order)
    return measured.measurement


@router.post("/identifications", openapi_extra=EVIDENCE)
async def identifications(request: Request, response: Response, context: InContext) -> dict[str, Any]:
    """Rank the packages that the evidence speaks for; with ``?keep=true`` as a case, named in ``Location``."""
    wire = await _json_of(request)
    identification = await run_in_threadpool(context.identify, wire)
    if request.query_params.get("keep", "").lower() in _YES:
        case_id = await run_in_threadpool(context.cases.keep, wire, identification)
        response.headers["Location"] = f"/api/cases/{case_id}"
        return {**identification, "case": case_id}
    return identification


@router.get("/cases")
def cases(context: InContext, limit: int = 100, offset: int = 0) -> dict[str, Any]:
    """List the kept cases, the newest first."""
    if not 1 <= limit <= 1000 or offset < 0:
        raise Problem("wrong-request", "limit must lie between 1 and 1000, and offset be 0 or more.")
    return {"cases": context.cases.listed(limit, offset)}


@router.get("/cases/{case_id}")
def case(case_id: str, context: InContext) -> dict[str, Any]:
    """Return one kept case."""
    found = context.cases.case(case_id)
    if found is None:
        raise _no_case(case_id)
    return found


@router.delete("/cases/{case_id}", status_code=204)
def delete_case(case_id: str, context: InContext) -> None:
    """Forget a case and its photos."""
    if not context.cases.delete(case_id):
        raise _no_case(case_id)


@router.post("/cases/{case_id}/photos", status_code=201, openapi_extra=PHOTO_TO_KEEP)
async def add_photo(case_id: str, request: Request, context: InContext) -> dict[str, Any]:
    """Keep a photo with a case, where ``consent`` says so; its place and time are dropped first."""
    async with request.form(max_files=1, max_fields=PARTS_OF_FORM) as form:
        photo = photo_of(form)
        if str(form.get("consent", "")).lower() not in _YES:
            raise Problem("wrong-request", "consent must be true: a photo is kept only when its owner agrees.")
        content = await photo.read()
    lean = await context.pool.run(without_location, content, photo.filename or "photo")
    return await run_in_threadpool(_keep_photo, context, case_id, lean)


@router.get("/cases/{case_id}/photos/{photo_id}")
def case_photo(case_id: str, photo_id: str, context: InContext) -> Response:
    """Return a kept photo."""
    photo = context.cases.photo(case_id, photo_id)
    if photo is None:
        raise Problem("not-found", f"No photo {photo_id} is kept with case {case_id}.")
    return Response(photo.content, media_type=photo.media_type)


def photo_of(form: FormData) -> UploadFile:
    """Return the uploaded photo of ``form``.

    Raises
    ------
    Problem
        Where there is none.
    """
    photo = form.get("photo")
    if not isinstance(photo, UploadFile):
        raise Problem("wrong-request", "photo is missing: send the picture as the file 'photo' of a multipart form.")
    return photo


def _order_of(form: FormData) -> Order:
    texts = {name: value for name, value in form.multi_items() if isinstance(value, str)}
    return parse_order(texts)


async def _json_of(request: Request) -> dict[str, Any]:
    body = await request.body()
    try:
        wire = parse_json(body)
    except ValueError as fault:
        raise Problem("not-json", f"The body must be the evidence as JSON: {fault}.") from None
    if not isinstance(wire, dict):
        raise Problem("wrong-evidence", 'The evidence must be a JSON object such as {"axles": {"front": {…}}}.')
    return wire


def _keep_photo(context: Context, case_id: str, photo: StoredPhoto) -> dict[str, Any]:
    try:
        photo_id = context.cases.add_photo(case_id, photo)
    except KeyError:
        raise _no_case(case_id) from None
    return {"id": photo_id, "case": case_id}


def _no_case(case_id: str) -> Problem:
    return Problem("not-found", f"No case {case_id} is kept here; GET /api/cases lists those that are.")
