"""What a photo showed, put where evidence belongs, and nothing counted twice."""

from collections.abc import Mapping
from typing import Any

Wire = dict[str, Any]


def add_measurement(evidence: Mapping[str, Any], axle: str, measurement: Mapping[str, Any]) -> Wire:
    """Return ``evidence`` with one more measurement of the rotor of ``axle``.

    A refused measurement is added too: it carries what needed no scale. A length that was told to the photo and
    stands among the axle's readings is taken out of the measurement, where it would count a second time.

    Parameters
    ----------
    evidence : mapping
        The contract's evidence; not changed.
    axle : {"front", "rear", "unknown"}
    measurement : mapping
        A measurement's wire form.
    """
    axles = {name: dict(readings) for name, readings in (evidence.get("axles") or {}).items()}
    readings = axles.setdefault(axle, {})
    lean = without_told(measurement, readings)
    readings["measurements"] = [*(readings.get("measurements") or []), lean]
    return {**evidence, "axles": axles}


def without_told(measurement: Mapping[str, Any], readings: Mapping[str, Any]) -> Wire:
    """Return ``measurement`` without the lengths that somebody told it and gave as readings as well."""
    told = set(measurement.get("told") or {}) & {key for key, value in readings.items() if value is not None}
    dimensions = measurement.get("dimensions") or {}
    if not told & dimensions.keys():
        return dict(measurement)
    kept = {key: length for key, length in dimensions.items() if key not in told}
    return {**measurement, "dimensions": kept, "covariance": _part(measurement.get("covariance"), set(kept))}


def _part(covariance: Mapping[str, Any] | None, keep: set[str]) -> Wire | None:
    if covariance is None:
        return None
    at = [i for i, key in enumerate(covariance["keys"]) if key in keep]
    matrix = covariance["matrix"]
    return {"keys": [covariance["keys"][i] for i in at], "matrix": [[matrix[i][j] for j in at] for i in at]}
