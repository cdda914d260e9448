"""Each reading against what the likeliest packages would read, as numbers for a chart."""

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from catalogue.assumptions import Assumptions
from catalogue.observation import AxleEvidence, EvidenceAxle
from catalogue.prepare import Prepared
from catalogue.rotor_lengths import hand_readings, std_of

SHOWN = 8
NORMAL_95 = 1.959964


@dataclass(frozen=True, slots=True)
class Span:
    """What one package would read: a new part's 95 % range, and how far down wear may bring it, mm."""

    package: str
    probability: float
    nominal_mm: float
    low_mm: float
    high_mm: float
    worn_to_mm: float | None


@dataclass(frozen=True, slots=True)
class ReadingChart:
    """One reading of a ``length`` with its 95 % interval, mm, and the spans of the packages that have that length."""

    evidence: str
    length: str
    axle: str
    value_mm: float
    low_mm: float
    high_mm: float
    spans: tuple[Span, ...]


@dataclass(frozen=True, slots=True)
class _Read:
    evidence: str
    key: str
    value: float
    std: float


def reading_charts(
    prepared: Prepared,
    axle: tuple[EvidenceAxle, AxleEvidence],
    packages: Sequence[tuple[int, int, float]],
    assumptions: Assumptions,
) -> tuple[ReadingChart, ...]:
    """Return a chart for each length read on an axle.

    Parameters
    ----------
    prepared : Prepared
    axle : (EvidenceAxle, AxleEvidence)
    packages : sequence of (package, row, probability)
        Likeliest first: index into ``PackageAxles.keys``, row on that axle, probability.
    assumptions : Assumptions
    """
    name, observed = axle
    charts = []
    for read in _reads(observed, assumptions):
        spans = [_span(prepared, read, package, assumptions) for package in packages[:SHOWN]]
        half = NORMAL_95 * read.std
        known = tuple(span for span in spans if span is not None)
        charts.append(
            ReadingChart(read.evidence, read.key, name, read.value, read.value - half, read.value + half, known)
        )
    return tuple(charts)


def _reads(observed: AxleEvidence, assumptions: Assumptions) -> list[_Read]:
    reads = [_Read(each.evidence, each.key, each.value, each.std) for each in hand_readings(observed, assumptions)]
    if observed.thickness_mm:
        thinnest = min(observed.thickness_mm, key=lambda reading: reading.value)
        std = std_of(thinnest, "thickness_mm", assumptions)
        reads.append(_Read("thickness_mm", "thickness_mm", thinnest.value, std))
    for evidence, reading in observed.pad_lengths.items():
        reads.append(_Read(evidence, evidence, reading.value, std_of(reading, evidence, assumptions)))
    for measured in observed.measurements:
        if measured.lengths is not None:
            stds = np.sqrt(np.diag(measured.lengths.covariance))
            for key, value, std in zip(measured.lengths.keys, measured.lengths.value, stds, strict=True):
                reads.append(_Read("measurements", key, float(value), float(std)))
    return reads


def _span(prepared: Prepared, read: _Read, package: tuple[int, int, float], assumptions: Assumptions) -> Span | None:
    number, row, probability = package
    if read.key.startswith("pad_"):
        nominal = float(prepared.pad_numbers[read.key.removeprefix("pad_")][prepared.pads[row]])
    else:
        nominal = float(prepared.rotor_numbers[read.key][prepared.rotor[row]])
    if not np.isfinite(nominal):
        return None
    half = NORMAL_95 * assumptions.tolerance_mm[read.key]
    worn_to = None
    if read.key == "thickness_mm":
        limit = float(prepared.rotor_numbers["min_thickness_mm"][prepared.rotor[row]])
        worn_to = limit if np.isfinite(limit) else nominal - assumptions.usable_wear_mm
    key = prepared.catalogue.packages.keys[number]
    return Span(key, probability, nominal, nominal - half, nominal + half, worn_to)
