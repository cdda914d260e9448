"""The fitments that the car may have, best first."""

from collections.abc import Iterator
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
    chosen = [each for reading in belief.hypotheses for each in _candidates(belief, reading, explainer)]
    listed = tuple(sorted(chosen, key=lambda each: -each.probability))
    possible = sum(int(np.count_nonzero(reading.prior)) for reading in belief.hypotheses)
    total = sum(float(reading.probability.sum()) for reading in belief.hypotheses)
    rest = max(0.0, total - sum(candidate.probability for candidate in listed))
    return listed, Others(possible - len(listed), rest if possible > len(listed) else 0.0)


def _candidates(belief: Posterior, reading: Hypotheses, explainer: Explainer) -> Iterator[Candidate]:
    """Yield the fitments worth listing of one way to read the axles."""
    fitments, packages = belief.prepared.catalogue.fitments, belief.prepared.catalogue.packages
    places = np.flatnonzero(reading.probability >= LISTED_FROM)
    columns = (places, reading.probability, fitments.model, fitments.package, fitments.year_from, fitments.year_to)
    rows = zip(*(each.tolist() if each is places else each[places].tolist() for each in columns), strict=True)
    for fitment, probability, model, package, first, last in rows:
        line, name = fitments.models[model]
        yield Candidate(
            line,
            name,
            _years(first, last),
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
