"""The fitments that the car may have, best first."""

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from catalogue.explain import Explainer, Reason
from catalogue.hypotheses import Hypotheses
from catalogue.posterior import Posterior
from catalogue.schema import STILL_MADE

LISTED_FROM = 1e-4
"""Fitments of at least this probability are listed, the rest counted."""


@dataclass(frozen=True, eq=False)
class Candidate:
    """One fitment on one axle, or on both where both were observed.

    Attributes
    ----------
    line, model, years, package, package_name : str
    axle : {"front", "rear", "both"}
    probability : float
    """

    line: str
    model: str
    years: str
    package: str
    package_name: str
    axle: str
    probability: float
    fitment: int
    reading: Hypotheses
    explainer: Explainer

    @cached_property
    def why(self) -> tuple[Reason, ...]:
        """What each piece of evidence did, strongest first; written when it is asked for."""
        return self.explainer.reasons(self.reading, self.fitment)


@dataclass(frozen=True, slots=True)
class Others:
    """The fitments within the scope that are not listed."""

    count: int
    probability: float


def rank(belief: Posterior, explainer: Explainer) -> tuple[tuple[Candidate, ...], Others]:
    """Return the fitments worth listing, best first, and what is left."""
    chosen = [
        (float(reading.probability[fitment]), fitment, reading)
        for reading in belief.hypotheses
        for fitment in np.flatnonzero(reading.probability >= LISTED_FROM).tolist()
    ]
    chosen.sort(key=lambda each: -each[0])
    listed = tuple(_candidate(belief, each, explainer) for each in chosen)
    possible = sum(int(np.count_nonzero(reading.prior)) for reading in belief.hypotheses)
    total = sum(float(reading.probability.sum()) for reading in belief.hypotheses)
    rest = max(0.0, total - sum(candidate.probability for candidate in listed))
    return listed, Others(possible - len(listed), rest if possible > len(listed) else 0.0)


def _candidate(belief: Posterior, chosen: tuple[float, int, Hypotheses], explainer: Explainer) -> Candidate:
    probability, fitment, reading = chosen
    fitments, packages = belief.prepared.catalogue.fitments, belief.prepared.catalogue.packages
    line, model = fitments.models[fitments.model[fitment]]
    package = int(fitments.package[fitment])
    return Candidate(
        line,
        model,
        _years(int(fitments.year_from[fitment]), int(fitments.year_to[fitment])),
        packages.keys[package],
        packages.name_of(package),
        reading.axle,
        probability,
        fitment,
        reading,
        explainer,
    )


def _years(first: int, last: int) -> str:
    if last == STILL_MADE:
        return f"{first}-"
    return f"{first}" if first == last else f"{first}-{last}"
