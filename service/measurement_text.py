"""A measurement as lines that a person reads."""

from collections.abc import Iterator, Mapping
from typing import Any

NAMES = {
    "diameter_mm": "diameter",
    "thickness_mm": "thickness",
    "ring_inner_mm": "ring's inner edge",
    "hat_mm": "hat",
    "centre_bore_mm": "centre bore",
    "bolt_circle_mm": "bolt circle",
    "height_mm": "height over all",
}
_KINDS = {"surface": "surface", "construction": "construction", "ventilation": "ventilation"}


def describe(measurement: Mapping[str, Any]) -> str:
    """Return the measurement's lines; the first says whether there is a measurement at all."""
    return "\n".join(_lines(measurement))


def _lines(measurement: Mapping[str, Any]) -> Iterator[str]:
    yield f"{measurement['photo']}: {measurement['status']}"
    for reason in measurement.get("reasons") or ():
        yield f"  {reason['message']} {reason['remedy']}"
    for key, length in (measurement.get("dimensions") or {}).items():
        yield f"  {NAMES.get(key, key):<18} {interval(length)}"
    yield from _seen(measurement)
    for notice in measurement.get("warnings") or ():
        yield f"  note: {notice['message']}"


def _seen(measurement: Mapping[str, Any]) -> Iterator[str]:
    count = measurement.get("bolt_count")
    if count:
        yield f"  {'bolt holes':<18} {count['value']} (probability {count['probability']:.2f})"
    for key, name in _KINDS.items():
        if measurement.get(key):
            yield f"  {name:<18} {chances(measurement[key])}"


def interval(length: Mapping[str, float]) -> str:
    """Return value and 95 % interval of a length, mm, to a tenth."""
    return f"{length['value']:.1f} mm (95 %: {length['low']:.1f} to {length['high']:.1f})"


def chances(probabilities: Mapping[str, float], least: float = 0.05) -> str:
    """Return the likelier kinds with their probabilities, the likeliest first."""
    ranked = sorted(probabilities.items(), key=lambda pair: -pair[1])
    said = [f"{kind} {p:.2f}" for kind, p in ranked if p >= least]
    return ", ".join(said)
