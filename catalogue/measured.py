"""Reads a whole measurement, the document that a photo yields, as evidence. Keys it doesn't know are passed over."""

from collections.abc import Mapping
from typing import Any

import numpy as np

from catalogue.faults import EvidenceError
from catalogue.observation import LENGTHS, Lengths, Measured
from catalogue.schema import CONSTRUCTIONS, SURFACES, VENTILATIONS, FloatArray
from catalogue.wire import (
    read_list,
    read_number,
    read_object,
    read_probabilities,
    read_probability,
    read_text,
    read_whole,
    read_word,
)

SEEN_WORDS = {"surface": SURFACES, "construction": CONSTRUCTIONS, "ventilation": VENTILATIONS}
DIMENSIONS = (*LENGTHS, "thickness_mm")
RATIOS = {
    "ring_inner_over_diameter": "ring_inner_mm",
    "hat_over_diameter": "hat_mm",
    "centre_bore_over_diameter": "centre_bore_mm",
    "bolt_circle_over_diameter": "bolt_circle_mm",
}
BOLT_COUNTS = (2, 16)

_ROUNDING = 1e-6
"""A covariance that went through JSON may miss symmetry and definiteness by so much of its largest entry."""


def read_measurement(value: Any, where: str) -> Measured:
    """Return what one measurement says of the rotor.

    Parameters
    ----------
    value : mapping
        The contract's measurement, measured or refused.
    where : str
        Its place in the evidence, for the error.

    Raises
    ------
    EvidenceError
        For a part of it that cannot stand, a covariance without a positive definite matrix among others.
    """
    document = read_object(value, where)
    lengths = _read_lengths(document, where)
    scaled = lengths is not None and "diameter_mm" in lengths.keys
    seen = {
        key: read_probabilities(document[key], words, f"{where}.{key}")
        for key, words in SEEN_WORDS.items()
        if document.get(key)
    }
    over = document.get("thickness_over")
    warnings = read_list(document.get("warnings", []), f"{where}.warnings")
    return Measured(
        lengths=lengths,
        ratios=None if scaled else _read_ratios(document, where),
        bolt_count=_read_bolt_count(document.get("bolt_count"), f"{where}.bolt_count"),
        **seen,
        thickness_over=None
        if over is None
        else read_word(over, ("lip", "swept", "unknown"), f"{where}.thickness_over"),
        print_unchecked=any(isinstance(each, Mapping) and each.get("code") == "print-unchecked" for each in warnings),
    )


def _read_lengths(document: Mapping[str, Any], where: str) -> Lengths | None:
    dimensions = read_object(document.get("dimensions", {}), f"{where}.dimensions")
    numbers = {
        key: _read_number_with_std(dimensions[key], f"{where}.dimensions.{key}")
        for key in DIMENSIONS
        if key in dimensions
    }
    return _joint(numbers, document.get("covariance"), f"{where}.covariance")


def _read_ratios(document: Mapping[str, Any], where: str) -> Lengths | None:
    ratios = read_object(document.get("ratios", {}), f"{where}.ratios")
    numbers = {key: _read_number_with_std(ratios[key], f"{where}.ratios.{key}") for key in RATIOS if key in ratios}
    joint = _joint(numbers, ratios.get("covariance"), f"{where}.ratios.covariance")
    return None if joint is None else Lengths(tuple(RATIOS[key] for key in joint.keys), joint.value, joint.covariance)


def _read_number_with_std(value: Any, where: str) -> tuple[float, float]:
    number = read_object(value, where)
    if "value" not in number or "std" not in number:
        raise EvidenceError(f"{where}: wanted value and std, got {', '.join(number) or 'nothing'}")
    read, std = read_number(number["value"], f"{where}.value"), read_number(number["std"], f"{where}.std")
    if read <= 0 or std <= 0:
        raise EvidenceError(f"{where}: wanted value and std over 0, got {read:g} and {std:g}")
    return read, std


def _joint(numbers: Mapping[str, tuple[float, float]], covariance: Any, where: str) -> Lengths | None:
    """Return the numbers with their covariance; without one, or outside its keys, they are independent."""
    if not numbers:
        return None
    keys = tuple(numbers)
    matrix = np.diag([std**2 for _, std in numbers.values()])
    if covariance is not None:
        named, stated = _read_covariance(covariance, where)
        shared = [key for key in keys if key in named]
        into, out_of = [keys.index(key) for key in shared], [named.index(key) for key in shared]
        matrix[np.ix_(into, into)] = stated[np.ix_(out_of, out_of)]
        _check_definite(matrix, where)
    return Lengths(keys, np.array([value for value, _ in numbers.values()]), matrix)


def _read_covariance(value: Any, where: str) -> tuple[list[str], FloatArray]:
    document = read_object(value, where)
    keys = [read_text(key, f"{where}.keys") for key in read_list(document.get("keys"), f"{where}.keys")]
    rows = [read_list(row, f"{where}.matrix") for row in read_list(document.get("matrix"), f"{where}.matrix")]
    if len(rows) != len(keys) or any(len(row) != len(keys) for row in rows):
        raise EvidenceError(f"{where}.matrix: wanted {len(keys)} rows of {len(keys)} numbers, one a key")
    matrix = np.array([[read_number(cell, f"{where}.matrix") for cell in row] for row in rows], dtype=np.float64)
    return keys, matrix.reshape(len(keys), len(keys))


def _check_definite(matrix: FloatArray, where: str) -> None:
    """Lift a covariance that rounding left just short of definite; refuse one that is not."""
    scale = float(np.abs(matrix).max())
    if np.abs(matrix - matrix.T).max() > _ROUNDING * scale:
        raise EvidenceError(f"{where}.matrix: wanted a symmetric matrix")
    matrix[:] = (matrix + matrix.T) / 2
    least = float(np.linalg.eigvalsh(matrix)[0])
    if least < -_ROUNDING * scale or (np.diag(matrix) <= 0).any():
        raise EvidenceError(f"{where}.matrix: wanted a covariance, with no negative eigenvalue, got {least:.3g}")
    matrix += np.eye(len(matrix)) * max(0.0, _ROUNDING * scale - least)


def _read_bolt_count(value: Any, where: str) -> tuple[int, float] | None:
    if value is None:
        return None
    document = read_object(value, where)
    count = read_whole(document.get("value"), BOLT_COUNTS, f"{where}.value")
    return count, read_probability(document.get("probability"), f"{where}.probability")
