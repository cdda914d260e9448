"""The web application, built from settings."""

from collections.abc import AsyncIterator
from contextlib import asynccontextmanager
from pathlib import Path
from typing import cast

from fastapi import FastAPI, Request, Response
from fastapi.exceptions import RequestValidationError
from fastapi.staticfiles import StaticFiles

from catalogue import load_assumptions, load_catalogue
from service import api, pages
from service.access import Access
from service.cases import Cases
from service.context import Context
from service.faults import HANDLED, problem_of
from service.limits import UploadLimit
from service.problems import Problem
from service.settings import Settings
from service.workers import Pool

STATIC = Path(__file__).with_name("static")


def create_app(settings: Settings) -> FastAPI:
    """Build the application: routes, context, limits and access.

    Raises
    ------
    catalogue.CatalogueError
        For a catalogue with faults.
    catalogue.AssumptionsError
        For assumptions that can't stand.
    sqlalchemy.exc.SQLAlchemyError, OSError
        When the cases' database can't be reached or made.
    """
    app = FastAPI(
        title="Whichrotor",
        lifespan=_lifespan,
        openapi_url="/api/openapi.json",
        docs_url=None,  # both pages would load scripts from elsewhere
        redoc_url=None,
    )
    app.state.context = Context(
        settings=settings,
        catalogue=load_catalogue(settings.catalogue),
        assumptions=load_assumptions(settings.assumptions),
        pool=Pool(settings.workers, settings.queue),
        cases=Cases(settings.cases_url),
    )
    app.include_router(api.router)
    app.include_router(pages.router)
    app.mount("/static", StaticFiles(directory=STATIC), name="static")
    for kind in HANDLED:
        app.add_exception_handler(kind, _answer_fault)
    app.add_exception_handler(RequestValidationError, _answer_validation)
    app.add_middleware(UploadLimit, limit_bytes=settings.max_upload_bytes, answer=_answer)
    app.add_middleware(Access, settings=settings, answer=_answer)
    return app


@asynccontextmanager
async def _lifespan(app: FastAPI) -> AsyncIterator[None]:
    context = cast("Context", app.state.context)
    context.pool.warm()
    yield
    context.pool.close()
    context.cases.close()


def _answer_fault(request: Request, fault: Exception) -> Response:
    return _answer(request, problem_of(fault))


def _answer_validation(request: Request, fault: Exception) -> Response:
    errors = cast("RequestValidationError", fault).errors()
    lines = [f"{'.'.join(map(str, error['loc'][1:]))}: {error['msg']}" for error in errors]
    return _answer(request, Problem("wrong-request", "; ".join(lines) + "."))


def _answer(request: Request, problem: Problem) -> Response:
    """Answer a program with a document and a person with a page."""
    for_program = request.url.path.startswith(api.router.prefix + "/")
    return problem.response() if for_program else pages.error_page(request, problem)
