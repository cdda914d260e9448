"""Draws rotors that no row of a catalogue comes near, of several kinds, and what somebody reads of them."""

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

import numpy as np

from catalogue.assumptions import Assumptions, default_assumptions
from catalogue.evidence import read_evidence
from catalogue.posterior import posterior
from catalogue.prepare import prepare
from catalogue.schema import AXLES, SURFACES, UNKNOWN, Catalogue, FloatArray
from catalogue.verdict import fits_nothing

Rotor = dict[str, float]

STD_MM = {
    "diameter_mm": 0.3,
    "thickness_mm": 0.15,
    "height_mm": 0.3,
    "centre_bore_mm": 0.15,
    "bolt_circle_mm": 0.4,
    "ring_inner_mm": 0.7,
    "hat_mm": 0.5,
}
NEAR_MM = 4.0
WORN_MM = 2.0


@dataclass(frozen=True)
class Axle:
    """The rotors in use on an axle: by length, NaN where not known, (N,) each, and those of one car there."""

    columns: Mapping[str, FloatArray]
    of_car: Rotor

    def any_rotor(self, random: np.random.Generator) -> Rotor:
        """Draw each length from a normal density a fifth wider than the catalogue's."""
        spread = {key: (np.nanmean(each), 1.2 * np.nanstd(each) + 1e-9) for key, each in self.columns.items()}
        return {key: abs(float(random.normal(*each))) + 5 for key, each in spread.items()}

    def near(self, diameter_mm: float, within_mm: float = NEAR_MM) -> bool:
        """Whether any rotor of the axle has about this diameter."""
        return bool((np.abs(self.columns["diameter_mm"] - diameter_mm) < within_mm).any())


def _of_any_car(axle: Axle, random: np.random.Generator) -> Rotor:
    """Neither diameter nor thickness of one row."""
    while True:
        rotor = axle.any_rotor(random)
        off = [np.abs(axle.columns[key] - rotor[key]) for key in ("diameter_mm", "thickness_mm")]
        if not ((off[0] < NEAR_MM) & (off[1] < NEAR_MM)).any():
            return rotor


def _between(axle: Axle, random: np.random.Generator) -> Rotor:
    """A diameter between those of the catalogue, all else of any car."""
    low, high = float(np.min(axle.columns["diameter_mm"])), float(np.max(axle.columns["diameter_mm"]))
    while axle.near(diameter := float(random.uniform(low, high)), 2.5):
        pass
    return axle.any_rotor(random) | {"diameter_mm": diameter, "thickness_mm": float(random.uniform(9, 36))}


def _outside(axle: Axle, random: np.random.Generator) -> Rotor:
    """Smaller or larger than any."""
    low, high = float(np.min(axle.columns["diameter_mm"])), float(np.max(axle.columns["diameter_mm"]))
    diameter = float(random.choice([low - random.uniform(6, 40), high + random.uniform(6, 40)]))
    return axle.any_rotor(random) | {"diameter_mm": diameter, "thickness_mm": float(random.uniform(9, 36))}


def _same_hub(axle: Axle, random: np.random.Generator) -> Rotor:
    """The car's own rotor in all but the diameter."""
    own = axle.of_car["diameter_mm"]
    while axle.near(diameter := own + float(random.choice([-1, 1]) * random.uniform(4, 25)), 2.5):
        pass
    return axle.of_car | {"diameter_mm": diameter}


def _scaled(axle: Axle, random: np.random.Generator) -> Rotor:
    """The car's own rotor a size up or down on the same bolt circle."""
    while True:
        factor = 1 + float(random.choice([-1, 1]) * random.uniform(0.02, 0.12))
        if not axle.near(axle.of_car["diameter_mm"] * factor, 2.5):
            break
    rotor = {key: value * factor for key, value in axle.of_car.items()}
    return rotor | {"bolt_circle_mm": axle.of_car["bolt_circle_mm"]}


def _thicker(axle: Axle, random: np.random.Generator) -> Rotor:
    """The car's own rotor, but thicker than any of its diameter."""
    same = np.abs(axle.columns["diameter_mm"] - axle.of_car["diameter_mm"]) < NEAR_MM
    most = float(np.max(axle.columns["thickness_mm"][same]))
    return axle.of_car | {"thickness_mm": most + WORN_MM + float(random.uniform(1.5, 6))}


def _other_hub(axle: Axle, random: np.random.Generator) -> Rotor:
    """The car's own size for another hub: height, bore and bolt circle."""
    hub = {key: axle.of_car[key] for key in ("height_mm", "centre_bore_mm", "bolt_circle_mm")}
    return axle.of_car | {key: at + float(random.choice([-1, 1]) * random.uniform(4, 12)) for key, at in hub.items()}


KINDS: Mapping[str, Callable[[Axle, np.random.Generator], Rotor]] = {
    "of any car": _of_any_car,
    "diameter between": _between,
    "diameter outside": _outside,
    "other diameter, same hub": _same_hub,
    "all a size up or down": _scaled,
    "too thick": _thicker,
    "other hub": _other_hub,
}

SEEN: Mapping[str, tuple[str, ...]] = {
    "diameter": ("diameter_mm",),
    "size": ("diameter_mm", "thickness_mm"),
    "size, surface, bolts": ("diameter_mm", "thickness_mm"),
    "size, height": ("diameter_mm", "thickness_mm", "height_mm"),
    "size, hub": ("diameter_mm", "thickness_mm", "height_mm", "centre_bore_mm", "bolt_circle_mm"),
    "photo": ("diameter_mm", "ring_inner_mm", "hat_mm"),
}
"""What is read, by the name of a table's column."""

SHOWS: Mapping[str, tuple[str, ...]] = {
    "of any car": tuple(name for name in SEEN if name != "diameter"),
    "other diameter, same hub": tuple(name for name in SEEN if name != "photo"),
    "too thick": ("size", "size, surface, bolts", "size, height"),
    "other hub": ("size, hub",),
}
"""Kinds that only some readings can tell from the car's own: a photo's scale may be off by as much as the diameter."""

TELLING = [(kind, seen) for kind in KINDS for seen in SHOWS.get(kind, tuple(SEEN))]


def evidence_of(rotor: Rotor, seen: str, bolts: int, random: np.random.Generator) -> dict[str, Any]:
    """Return what somebody reads of a used rotor, in wire form."""
    keys = SEEN[seen]
    if seen == "photo":
        return {"measurements": [_photo(np.array([rotor[key] for key in keys]), keys, random)]}
    worn = rotor | {"thickness_mm": max(rotor["thickness_mm"] - float(random.uniform(0, WORN_MM)), 3.0)}
    axle: dict[str, Any] = {key: worn[key] + float(random.normal(0, STD_MM[key])) for key in keys}
    if "thickness_mm" in axle:
        axle |= {"condition": "used", "thickness_over": "swept"}
    if "surface" in seen:
        axle |= {"surface": str(random.choice(SURFACES[:3])), "bolt_count": bolts}
    return axle


def _photo(true_mm: FloatArray, keys: tuple[str, ...], random: np.random.Generator) -> dict[str, Any]:
    covariance = np.outer(0.003 * true_mm, 0.003 * true_mm) + np.diag([0.3, 0.8, 0.6]) ** 2
    read = random.multivariate_normal(true_mm, covariance)
    stds = np.sqrt(np.diag(covariance))
    return {
        "dimensions": {
            key: {"value": float(value), "std": float(std)} for key, value, std in zip(keys, read, stds, strict=True)
        },
        "covariance": {"keys": list(keys), "matrix": covariance.tolist()},
    }


def told_to_fit_nothing(
    catalogue: Catalogue, kind: str, seen: str, *, count: int, seed: int, assumptions: Assumptions | None = None
) -> float:
    """Return the share of ``count`` strange rotors that are told to fit nothing, line or model known or neither."""
    random, assumed, prepared = np.random.default_rng(seed), assumptions or default_assumptions(), prepare(catalogue)
    told = 0
    for _ in range(count):
        name, axle, vehicle, bolts = _car(catalogue, prepared.weight, random)
        read = evidence_of(KINDS[kind](axle, random), seen, bolts, random)
        document = {"vehicle": vehicle, "axles": {name: read}}
        told += fits_nothing(posterior(prepared, read_evidence(document), assumed), assumed)
    return told / count


def _car(
    catalogue: Catalogue, weight: FloatArray, random: np.random.Generator
) -> tuple[str, Axle, dict[str, str], int]:
    """Draw an axle of a car: its name, its rotors, what is known of the car, and its bolts."""
    fitments, packages, rotors = catalogue.fitments, catalogue.packages, catalogue.rotors
    fitment, code = int(random.choice(len(weight), p=weight)), int(random.integers(2))
    row = packages.row[fitments.package[fitment], code]
    if row == UNKNOWN:
        code, row = 1 - code, packages.row[fitments.package[fitment], 1 - code]
    used = np.unique(packages.rotor[packages.axle == code])
    columns = {key: getattr(rotors, key)[used] for key in STD_MM}
    own = {key: float(getattr(rotors, key)[packages.rotor[row]]) for key in STD_MM}
    filled = {key: value if np.isfinite(value) else float(np.nanmean(columns[key])) for key, value in own.items()}
    line, model = fitments.models[fitments.model[fitment]]
    known: list[dict[str, str]] = [{}, {"line": line}, {"line": line, "model": model}]
    count = rotors.bolt_count[packages.rotor[row]]
    return AXLES[code], Axle(columns, filled), known[int(random.integers(3))], int(count) if np.isfinite(count) else 5
