"""What every route of one running app shares: settings, catalogue, workers, cases."""

from dataclasses import dataclass
from typing import cast

from fastapi import Request

from catalogue import Catalogue
from service.cases import Cases
from service.settings import Settings
from service.workers import Pool


@dataclass(frozen=True)
class Context:
    """One app's shared parts; made by ``create_app``, found by ``context_of``."""

    settings: Settings
    catalogue: Catalogue
    pool: Pool
    cases: Cases


def context_of(request: Request) -> Context:
    """Return the context of the app that ``request`` came to; use it as a FastAPI dependency."""
    return cast("Context", request.app.state.context)
