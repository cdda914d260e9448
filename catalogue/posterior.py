"""The posterior over what the car may have: every fitment, on each axle that the evidence may be of, or none."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property
from math import log

import numpy as np

from catalogue.assumptions import Assumptions
from catalogue.observation import Evidence, EvidenceAxle
from catalogue.prepare import Prepared
from catalogue.prior import scope_of
from catalogue.records import known_codes, record_likelihood
from catalogue.schema import AXLES, UNKNOWN, BoolArray, FloatArray, IntArray
from catalogue.weigh import WeighedAxle, weigh_axle


@dataclass(frozen=True, eq=False)
class Hypotheses:
    """One way to read the axles: all fitments, with evidence on an unknown axle taken as of one of them.

    Attributes
    ----------
    axle : {"front", "rear", "both"}
        As the contract's candidates name it.
    rows : mapping of EvidenceAxle to (K,) ndarray of int
        Package row that each axle's evidence speaks of, for each package; UNKNOWN where it has no such axle.
    prior : (F,) ndarray
        Of each fitment read so.
    probability : (F,) ndarray
        The same after the evidence.
    package : (F,) ndarray of int
        Package of each fitment, one of K.
    """

    axle: str
    rows: Mapping[EvidenceAxle, IntArray]
    prior: FloatArray
    probability: FloatArray
    package: IntArray
    packages: int

    @cached_property
    def package_prior(self) -> FloatArray:
        """Prior of each package, (K,)."""
        return np.bincount(self.package, weights=self.prior, minlength=self.packages).astype(np.float64, copy=False)

    @cached_property
    def package_mass(self) -> FloatArray:
        """Probability of each package, (K,)."""
        mass = np.bincount(self.package, weights=self.probability, minlength=self.packages)
        return mass.astype(np.float64, copy=False)


@dataclass(frozen=True, eq=False, slots=True)
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


def posterior(prepared: Prepared, evidence: Evidence, assumptions: Assumptions) -> Posterior:
    """Weigh ``evidence`` against the whole catalogue."""
    catalogue = prepared.catalogue
    scope, empty = scope_of(catalogue, evidence.vehicle)
    weighed = {axle: weigh_axle(prepared, axle, each, assumptions) for axle, each in evidence.axles.items()}
    codes, unknown_codes = known_codes(catalogue.fitments, evidence.option_codes)
    records = record_likelihood(catalogue.fitments, codes, prepared.weight, assumptions) if codes else None
    readings = _readings_of_axles(prepared, evidence)
    priors = _priors(prepared, readings, scope, 1 - assumptions.none_of_these)
    prior_none = assumptions.none_of_these
    if any(prior.any() for prior in priors):
        weights, none = _weights(prepared, list(zip(readings, priors, strict=True)), (weighed, records), assumptions)
    else:
        weights, none, prior_none, empty = priors, 1.0, 1.0, empty or "no package with that axle"
    total = sum(float(weight.sum()) for weight in weights) + none
    package, packages = catalogue.fitments.package, len(catalogue.packages.keys)
    hypotheses = tuple(
        Hypotheses(axle, rows, prior, weight / total, package, packages)
        for (axle, rows), prior, weight in zip(readings, priors, weights, strict=True)
    )
    return Posterior(prepared, hypotheses, none / total, prior_none, weighed, records, tuple(unknown_codes), empty)


Reading = tuple[str, Mapping[EvidenceAxle, IntArray]]


def _readings_of_axles(prepared: Prepared, evidence: Evidence) -> list[Reading]:
    """Return each way to read the axles with the package rows it means; without evidence both axles, unread."""
    row = prepared.catalogue.packages.row
    known: dict[EvidenceAxle, IntArray] = {
        axle: row[:, AXLES.index(axle)] for axle in evidence.axles if axle != "unknown"
    }
    if "unknown" in evidence.axles:
        return [(axle, {**known, "unknown": row[:, code]}) for code, axle in enumerate(AXLES)]
    return [(str(next(iter(known))) if len(known) == 1 else "both", known)]


def _priors(prepared: Prepared, readings: list[Reading], scope: BoolArray | None, total: float) -> list[FloatArray]:
    """Return the prior of each fitment in each way to read the axles; all together ``total``.

    A package without the axle that the evidence is of is no hypothesis; on an unknown axle a fitment's prior is
    shared evenly by the axles it has.
    """
    package = prepared.catalogue.fitments.package
    weight = prepared.weight if scope is None else np.where(scope, prepared.weight, 0.0)
    possible = [_has_axle(prepared, reading)[package] for reading in readings]
    ways = np.maximum(np.sum(possible, axis=0), 1)
    priors = [weight * has / ways if len(readings) > 1 else weight * has for has in possible]
    whole = sum(float(prior.sum()) for prior in priors)
    return [prior * (total / whole) if whole > 0 else prior for prior in priors]


def _has_axle(prepared: Prepared, reading: Reading) -> BoolArray:
    _, rows = reading
    if not rows:
        return np.ones(len(prepared.catalogue.packages.keys), dtype=np.bool_)
    if "unknown" in rows:
        return np.asarray(rows["unknown"] != UNKNOWN)
    return np.asarray(np.any([of_axle != UNKNOWN for of_axle in rows.values()], axis=0))


def _weights(
    prepared: Prepared,
    readings: list[tuple[Reading, FloatArray]],
    observed: tuple[Mapping[EvidenceAxle, WeighedAxle], FloatArray | None],
    assumptions: Assumptions,
) -> tuple[list[FloatArray], float]:
    """Return prior times likelihood of each fitment in each way to read the axles, and of none, to one scale."""
    weighed, records = observed
    logs = [_package_log(prepared, rows, weighed) for (_, rows), _ in readings]
    log_none = sum(float(each.log_likelihood[-1]) for each in weighed.values())
    package = prepared.catalogue.fitments.package
    best = max(log_none, *(float(each.max()) for each in logs))
    weights = []
    for each, (_, prior) in zip(logs, readings, strict=True):
        likelihood = np.exp(each - best)[package]
        weights.append(prior * likelihood if records is None else prior * likelihood * records)
    of_records = 1.0
    if records is not None:
        sums = [(float(prior @ records), float(prior.sum())) for _, prior in readings]
        of_records = sum(product for product, _ in sums) / sum(mass for _, mass in sums)
    none = float(np.exp(log_none - best + log(assumptions.none_of_these))) * of_records
    return _rescued(weights, none)


def _rescued(weights: list[FloatArray], none: float) -> tuple[list[FloatArray], float]:
    """Give all belief to none of these where no fitment's likelihood is left above the smallest number."""
    if none == 0.0 and not any(weight.any() for weight in weights):
        return weights, 1.0
    return weights, none


def _package_log(
    prepared: Prepared, rows: Mapping[EvidenceAxle, IntArray], weighed: Mapping[EvidenceAxle, WeighedAxle]
) -> FloatArray:
    """Return log p(all measured evidence | package), (K,); UNKNOWN rows take the unknown row's."""
    total = np.zeros(len(prepared.catalogue.packages.keys))
    for axle, each in weighed.items():
        total += each.log_likelihood[rows[axle]]
    return total
