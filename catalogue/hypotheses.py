"""What the car may have: every fitment, on each axle that the evidence may be of, before and after the evidence."""

from collections.abc import Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache

import numpy as np

from catalogue.observation import EvidenceAxle
from catalogue.prepare import KEPT, Prepared
from catalogue.schema import AXLES, UNKNOWN, BoolArray, FloatArray, IntArray


@dataclass(frozen=True, eq=False, slots=True)
class Way:
    """One way to read the axles, before the evidence: all fitments, with evidence on an unknown axle as of one of them.

    Attributes
    ----------
    axle : {"front", "rear", "both"}
        As the contract's candidates name it.
    rows : mapping of EvidenceAxle to (K,) ndarray
        Package row that each axle's evidence speaks of, for each package; UNKNOWN where it has no such axle.
    prior : (F,) ndarray
        Of each fitment read so.
    package_prior : (K,) ndarray
        Summed by package.
    package : (F,) ndarray of int
        Package of each fitment, one of K.
    """

    axle: str
    rows: Mapping[EvidenceAxle, IntArray]
    prior: FloatArray
    package_prior: FloatArray
    package: IntArray

    def of_packages(self, of_rows: Mapping[EvidenceAxle, FloatArray]) -> FloatArray:
        """Return the sum over the axles of what is said of each package's row, (K,); UNKNOWN is the unknown row."""
        total = np.zeros(len(self.package_prior))
        for axle, each in of_rows.items():
            total += each[self.rows[axle]]
        return total


@dataclass(frozen=True, eq=False)
class Hypotheses:
    """One way to read the axles, after the evidence.

    Attributes
    ----------
    before : Way
    likelihood : (K,) ndarray
        Of all that was measured, for each package, up to a factor.
    records : (F,) ndarray or None
        Of the option codes, for each fitment, up to a factor.
    scale : float
        What makes prior times likelihood a probability.
    """

    before: Way
    likelihood: FloatArray
    records: FloatArray | None
    scale: float

    @property
    def axle(self) -> str:
        """As the contract's candidates name it."""
        return self.before.axle

    @property
    def rows(self) -> Mapping[EvidenceAxle, IntArray]:
        """Package row that each axle's evidence speaks of, for each package."""
        return self.before.rows

    @property
    def prior(self) -> FloatArray:
        """Prior of each fitment, (F,)."""
        return self.before.prior

    @property
    def package_prior(self) -> FloatArray:
        """Prior of each package, (K,)."""
        return self.before.package_prior

    @cached_property
    def probability(self) -> FloatArray:
        """Probability of each fitment, (F,)."""
        of_fitments = self.likelihood[self.before.package]
        of_fitments *= self.prior
        of_fitments *= self.scale if self.records is None else self.records * self.scale
        return of_fitments

    @cached_property
    def package_mass(self) -> FloatArray:
        """Probability of each package, (K,)."""
        if self.records is None:
            return self.package_prior * self.likelihood * self.scale
        return _by_package(self.before.package, self.probability, len(self.likelihood))


def ways_to_read(
    prepared: Prepared, axles: tuple[EvidenceAxle, ...], scope: BoolArray | None, total: float
) -> tuple[Way, ...]:
    """Return each way to read the axles: one, or two where one is unknown.

    A package without the axle that the evidence is of is no hypothesis; on an unknown axle a fitment's prior is shared
    evenly by the axles it has.

    Parameters
    ----------
    prepared : Prepared
    axles : tuple of EvidenceAxle
        Those with evidence; where there is none, both are unread.
    scope : (F,) ndarray of bool, or None for all
        Fitments of the vehicle.
    total : float
        Sum of all priors, where any is left.
    """
    if scope is None:
        return _everywhere(prepared, axles, total)
    return _ways(prepared, axles, np.where(scope, prepared.weight, 0.0), total)


@lru_cache(maxsize=KEPT * 8)
def _everywhere(prepared: Prepared, axles: tuple[EvidenceAxle, ...], total: float) -> tuple[Way, ...]:
    return _ways(prepared, axles, prepared.weight, total)


def _ways(prepared: Prepared, axles: tuple[EvidenceAxle, ...], weight: FloatArray, total: float) -> tuple[Way, ...]:
    package, packages = prepared.catalogue.fitments.package, len(prepared.catalogue.packages.keys)
    readings = _readings(prepared, axles)
    possible = [_has_axle(rows, packages)[package] for _, rows in readings]
    shared = np.maximum(np.sum(possible, axis=0), 1) if len(readings) > 1 else 1
    priors = [weight * has / shared for has in possible]
    whole = sum(float(prior.sum()) for prior in priors)
    scale = total / whole if whole > 0 else 1.0
    return tuple(
        Way(axle, rows, prior * scale, _by_package(package, prior * scale, packages), package)
        for (axle, rows), prior in zip(readings, priors, strict=True)
    )


def _readings(prepared: Prepared, axles: tuple[EvidenceAxle, ...]) -> list[tuple[str, Mapping[EvidenceAxle, IntArray]]]:
    """Return each way to read the axles with the package rows it means; without evidence both axles, unread."""
    row = prepared.catalogue.packages.row
    known: dict[EvidenceAxle, IntArray] = {axle: row[:, AXLES.index(axle)] for axle in axles if axle != "unknown"}
    if "unknown" in axles:
        return [(axle, {**known, "unknown": row[:, code]}) for code, axle in enumerate(AXLES)]
    return [(str(axles[0]) if len(axles) == 1 else "both", known)]


def _has_axle(rows: Mapping[EvidenceAxle, IntArray], packages: int) -> BoolArray:
    if not rows:
        return np.ones(packages, dtype=np.bool_)
    if "unknown" in rows:
        return np.asarray(rows["unknown"] != UNKNOWN)
    return np.asarray(np.any([of_axle != UNKNOWN for of_axle in rows.values()], axis=0))


def _by_package(package: IntArray, of_fitments: FloatArray, packages: int) -> FloatArray:
    return np.bincount(package, weights=of_fitments, minlength=packages).astype(np.float64, copy=False)
