"""The posterior over what the car may have: every fitment, on each axle that the evidence may be of, or none."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from math import log

import numpy as np

from catalogue.assumptions import Assumptions
from catalogue.hypotheses import Hypotheses, Way, ways_to_read
from catalogue.observation import Evidence, EvidenceAxle
from catalogue.prepare import Prepared
from catalogue.prior import scope_of
from catalogue.records import known_codes, record_likelihood
from catalogue.schema import FloatArray
from catalogue.soundness import Soundness, soundness_of
from catalogue.stranger import log_stranger
from catalogue.weigh import WeighedAxle, weigh_axle


@dataclass(frozen=True, eq=False)
class Posterior:
    """What to believe.

    Attributes
    ----------
    prepared : Prepared
    hypotheses : tuple of Hypotheses
        One, or two where evidence is on an unknown axle.
    none_of_these, prior_none : float
        Probability that it is none of the catalogue's, after and before the evidence.
    weighed : mapping of EvidenceAxle to WeighedAxle
    records : (F,) ndarray or None
        p(option codes | fitment), up to a factor.
    unknown_codes : tuple of str
        Option codes that the catalogue doesn't know.
    empty_scope : str or None
        What was said of the vehicle that left no fitment.
    """

    prepared: Prepared
    hypotheses: tuple[Hypotheses, ...]
    none_of_these: float
    prior_none: float
    weighed: Mapping[EvidenceAxle, WeighedAxle]
    records: FloatArray | None
    unknown_codes: tuple[str, ...]
    empty_scope: str | None

    @cached_property
    def soundness(self) -> Soundness:
        """How far the readings can be believed together."""
        return soundness_of(self.prepared, self.hypotheses, self.weighed)


def posterior(prepared: Prepared, evidence: Evidence, assumptions: Assumptions) -> Posterior:
    """Weigh ``evidence`` against the whole catalogue."""
    fitments = prepared.catalogue.fitments
    scope, empty = scope_of(prepared.catalogue, evidence.vehicle)
    weighed = {axle: weigh_axle(prepared, (axle, each), scope, assumptions) for axle, each in evidence.axles.items()}
    codes, unknown_codes = known_codes(fitments, evidence.option_codes)
    records = record_likelihood(fitments, codes, prepared.weight, assumptions) if codes else None
    ways = ways_to_read(prepared, tuple(evidence.axles), scope, 1 - assumptions.none_of_these)
    if any(way.package_prior.any() for way in ways):
        hypotheses, none = _weigh_all(ways, weighed, records, assumptions)
        prior_none = assumptions.none_of_these
    else:
        nothing = np.zeros(len(prepared.catalogue.packages.keys))
        hypotheses, none, prior_none = tuple(Hypotheses(way, nothing, None, 1.0) for way in ways), 1.0, 1.0
        empty = empty or "no package with that axle"
    return Posterior(prepared, hypotheses, none, prior_none, weighed, records, tuple(unknown_codes), empty)


def _weigh_all(
    ways: Sequence[Way],
    weighed: Mapping[EvidenceAxle, WeighedAxle],
    records: FloatArray | None,
    assumptions: Assumptions,
) -> tuple[tuple[Hypotheses, ...], float]:
    """Return every fitment after the evidence, in each way to read the axles, and none of these."""
    own = {axle: each.log_likelihood for axle, each in weighed.items()}
    logs = [way.of_packages(own) for way in ways]
    log_none = log_stranger(list(zip(ways, logs, strict=True)), weighed, assumptions)
    best = max(log_none, *(float(each.max()) for each in logs))
    open_ended = [Hypotheses(way, np.exp(each - best), records, 1.0) for way, each in zip(ways, logs, strict=True)]
    none = float(np.exp(log_none - best + log(assumptions.none_of_these))) * _mean_of_records(ways, records)
    total = sum(float(each.package_mass.sum()) for each in open_ended) + none
    if total == 0:  # no likelihood is left above the smallest number
        return tuple(open_ended), 1.0
    return tuple(Hypotheses(each.before, each.likelihood, records, 1 / total) for each in open_ended), none / total


def _mean_of_records(ways: Sequence[Way], records: FloatArray | None) -> float:
    """Return p(option codes | none of these): the mean over what the car may have been built with."""
    if records is None:
        return 1.0
    return sum(float((way.prior * records).sum()) for way in ways) / sum(float(way.prior.sum()) for way in ways)
