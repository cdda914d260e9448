"""What every route of one running app shares: settings, catalogue, assumptions, workers, cases."""

from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any, cast

from fastapi import Request

from catalogue import Assumptions, Catalogue
from service.cases import Cases
from service.identifying import identify_wire
from service.settings import Settings
from service.workers import Pool


@dataclass(frozen=True)
class Context:
    """One app's shared parts; made by ``create_app``, found by ``context_of``."""

    settings: Settings
    catalogue: Catalogue
    assumptions: Assumptions
    pool: Pool
    cases: Cases

    def identify(self, evidence: Mapping[str, Any]) -> dict[str, Any]:
        """Rank by this app's catalogue and assumptions: ``service.identifying.identify_wire``."""
        return identify_wire(self.catalogue, evidence, self.assumptions)


def context_of(request: Request) -> Context:
    """Return the context of the app that ``request`` came to; use it as a FastAPI dependency."""
    return cast("Context", request.app.state.context)
