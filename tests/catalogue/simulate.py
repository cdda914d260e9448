"""Draws cases from the ranking's own model, or from models it doesn't assume: a car, what was read of it, the truth.

Nothing of the ranking is used here but its table of assumptions; the arithmetic is its own.
"""

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from catalogue.assumptions import Assumptions
from catalogue.schema import AXLES, SURFACES, UNKNOWN, Catalogue, FloatArray

LENGTHS = ("diameter_mm", "height_mm", "centre_bore_mm", "bolt_circle_mm", "ring_inner_mm", "hat_mm")
NONE = -1


@dataclass(frozen=True)
class World:
    """How cars are made, worn and read, where a simulation may part from the ranking's assumptions.

    Attributes
    ----------
    assumptions : Assumptions
        As the world really is.
    wear : callable
        From random generator and usable thickness, mm, to the wear of a used rotor, mm.
    gross : callable
        From random generator, key, true value and population (mean, std) to a grossly wrong reading.
    mislabelled : float
        Share of rotors whose surface the catalogue has wrong.
    """

    assumptions: Assumptions
    wear: Callable[[np.random.Generator, float], float] | None = None
    gross: Callable[[np.random.Generator, str, float, tuple[float, float]], float] | None = None
    mislabelled: float = 0.0


@dataclass(frozen=True)
class Case:
    """One simulated case: its kind, the evidence in wire form, and the fitment and axle that are true, or NONE."""

    kind: str
    evidence: dict[str, Any]
    fitment: int
    axle: str


@dataclass(frozen=True)
class TrueRotor:
    """A rotor in hand: its own lengths, surface and counts."""

    lengths: Mapping[str, float]
    new_mm: float
    usable_mm: float
    surface: int
    ventilation: int
    construction: int
    bolt_count: int
    limit_mm: float


class Simulator:
    """Draws cases from one catalogue.

    Parameters
    ----------
    catalogue : Catalogue
    world : World
    seed : int
    """

    def __init__(self, catalogue: Catalogue, world: World, seed: int) -> None:
        self.catalogue = catalogue
        self.world = world
        self.random = np.random.default_rng(seed)
        self.weight = _weights(catalogue)
        self.population = {axle: self._population(axle) for axle in (*AXLES, "unknown")}

    def case(self, kind: str) -> Case:
        """Draw one case of a kind of ``KINDS``."""
        draw = KINDS[kind]
        axle = "both" if kind == "both axles" else str(self.random.choice(AXLES))
        fitment, like, scope = self._car(axle if kind != "unknown axle" else "unknown")
        if kind == "unknown axle" and like != NONE:
            axle = str(self.random.choice([each for each in AXLES if self._has(each)[like]]))
        named = {each: each for each in AXLES} if kind == "both axles" else {axle: axle}
        if kind == "unknown axle":
            named = {axle: "unknown"}
        self.widening = self._widening() if like == NONE else 1.0
        own = self._own_traits(kind, list(named)) if like != fitment else {}
        rotors = {each: self._rotor(like, each, name) for each, name in named.items()}
        for each, traits in own.items():
            for trait in traits:
                self.widening = self._widening()
                rotors[each] = _with_traits(rotors[each], self._rotor(NONE, each, named[each]), set(trait))
        axles = {}
        for each, name in named.items():
            self.axle = name
            axles[name] = draw(self, rotors[each])
        return Case(kind, {"vehicle": scope, "axles": axles}, fitment, axle)

    def _widening(self) -> float:
        """Draw whether a part that is nobody's kin is of another class of car, whose lengths are spread wider."""
        assumptions = self.world.assumptions
        return assumptions.other_class_widening if self.random.random() < assumptions.other_class else 1.0

    def _own_traits(self, kind: str, axles: Sequence[str]) -> dict[str, list[Sequence[str]]]:
        """Draw in which of the traits that are looked at a part differs from its kin, axle by axle; one at least."""
        looked_at = [(axle, trait) for axle in axles for trait in TRAITS.get(kind, SIZE)]
        while True:
            own = [pair for pair in looked_at if self.random.random() >= self.world.assumptions.kin_alike]
            if own:
                return {axle: [trait for of, trait in own if of == axle] for axle in axles}

    def _has(self, axle: str) -> Any:
        """Return which fitments have an axle; of both or an unknown one, which have any."""
        row = self.catalogue.packages.row[self.catalogue.fitments.package]
        return row[:, AXLES.index(axle)] != UNKNOWN if axle in AXLES else (row != UNKNOWN).any(axis=1)

    def _car(self, axle: str) -> tuple[int, int, dict[str, Any]]:
        """Draw what is known of a car and then the car, of those with that axle, twice; or none, and whose kin."""
        fitments = self.catalogue.fitments
        weight = self.weight * self._has(axle)
        line, model = fitments.models[fitments.model[int(self.random.choice(len(weight), p=weight / weight.sum()))]]
        scope = [{}, {"line": line}, {"line": line, "model": model}][int(self.random.integers(3))]
        for row, (of_line, of_model) in enumerate(fitments.models[number] for number in fitments.model):
            if scope.get("line", of_line) != of_line or scope.get("model", of_model) != of_model:
                weight[row] = 0
        fitment = int(self.random.choice(len(weight), p=weight / weight.sum()))
        if self.random.random() >= self.world.assumptions.none_of_these:
            return fitment, fitment, scope
        kin = self.random.random() < self.world.assumptions.kin_of_a_part
        return NONE, fitment if kin else NONE, scope

    def _population(self, axle: str) -> dict[str, tuple[float, float]]:
        rotors, packages = self.catalogue.rotors, self.catalogue.packages
        of_axle = np.ones(len(packages), dtype=bool) if axle == "unknown" else packages.axle == AXLES.index(axle)
        right = packages.rotor_right[of_axle]
        used = np.unique(np.concatenate([packages.rotor[of_axle], right[right != UNKNOWN]]))
        assumptions = self.world.assumptions
        spread = {}
        for key in (*LENGTHS, "thickness_mm", "mass_kg"):
            values = getattr(rotors, key)[used]
            values = values[np.isfinite(values)]
            least = assumptions.least_spread(key) * values.mean()
            spread[key] = (float(values.mean()), assumptions.population_widening * max(float(values.std()), least))
        self.used = getattr(self, "used", {}) | {axle: used}
        return spread

    def _rotor(self, fitment: int, axle: str, named: str | None = None) -> TrueRotor:
        self.axle = named or axle
        spread = self.population[self.axle]
        widening = self.widening if fitment == NONE else 1.0
        drawn = {key: self._of_population(spread[key], widening) for key in LENGTHS}
        drawn["thickness_mm"] = self._thickness(spread["thickness_mm"], widening)
        rotors, packages = self.catalogue.rotors, self.catalogue.packages
        random_row = int(self.random.choice(self.used[self.axle]))
        row = random_row
        if fitment != NONE:
            package = packages.row[self.catalogue.fitments.package[fitment], AXLES.index(axle)]
            if package == UNKNOWN:
                fitment = NONE  # both axles were read, and the catalogue lacks this one: it may be any rotor
            else:
                sides = [packages.rotor[package], packages.rotor_right[package]]
                row = int(self.random.choice([side for side in sides if side != UNKNOWN]))
        tolerance = self.world.assumptions.tolerance_mm
        lengths = dict(drawn)
        if fitment != NONE:
            for key in (*LENGTHS, "thickness_mm"):
                nominal = getattr(rotors, key)[row]
                if np.isfinite(nominal):
                    lengths[key] = nominal + self.random.normal(0, tolerance[key])
        new_mm = lengths["thickness_mm"]
        limit = rotors.min_thickness_mm[row] if fitment != NONE else np.nan
        nominal_mm = rotors.thickness_mm[row] if fitment != NONE else new_mm
        usable = nominal_mm - limit if np.isfinite(limit) else self.world.assumptions.usable_wear_mm
        surface = self._kind(rotors.surface, row)
        if self.random.random() < self.world.mislabelled:
            surface = int(self.random.integers(len(SURFACES)))
        bolts = rotors.bolt_count[row]
        return TrueRotor(
            lengths,
            new_mm,
            float(usable),
            surface,
            self._kind(rotors.ventilation, row),
            self._kind(rotors.construction, row),
            int(bolts) if np.isfinite(bolts) else 5,
            float(limit),
        )

    def _of_population(self, spread: tuple[float, float], widening: float) -> float:
        mean, std = spread
        return abs(float(self.random.normal(mean, widening * std))) + 1e-3

    def _thickness(self, spread: tuple[float, float], widening: float) -> float:
        """Draw a thickness; of another class over 0 and no thicker than a car's rotor is."""
        mean, std = spread
        while True:
            drawn = self._of_population(spread, widening)
            if widening == 1 or 0.15 < drawn < max(self.world.assumptions.thickest_mark_mm, mean + 4 * std):
                return drawn

    def _kind(self, column: Any, row: int) -> int:
        code = int(column[row])
        known = column[self.used[self.axle]]
        return code if code != UNKNOWN else int(self.random.choice(known[known != UNKNOWN]))

    def read(self, key: str, true: float, std: float) -> float:
        """Read a length, with the chance of a gross error."""
        mean, spread = self.population[self.axle][key]
        if self.random.random() < self.world.assumptions.gross_error:
            if self.world.gross is not None:
                return self.world.gross(self.random, key, true, (mean, spread))
            return self.gross(key, std)
        return abs(float(self.random.normal(true, std))) + 1e-6

    def gross(self, key: str, std: float) -> float:
        """Read something else: another rotor, or anything about as large."""
        mean, spread = self.population[self.axle][key]
        elsewhere = self.random.random() < self.world.assumptions.gross_elsewhere
        about = self.world.assumptions.gross_width * mean if elsewhere else spread
        return abs(float(self.random.normal(mean, np.hypot(about, std)))) + 1e-3

    def worn(self, rotor: TrueRotor, condition: str, over: str) -> float:
        """Return the thickness under the jaws, mm."""
        assumptions = self.world.assumptions
        new = {"new": 1.0, "used": 0.0}.get(condition, assumptions.new_when_unknown)
        if self.random.random() < new:
            return rotor.new_mm
        lip = {"lip": 1.0, "swept": 0.0}.get(over, assumptions.lip_when_unknown)
        if self.random.random() < lip:
            return rotor.new_mm + self.random.normal(0, assumptions.lip_std_mm)
        if self.world.wear is not None:
            return rotor.new_mm - self.world.wear(self.random, rotor.usable_mm)
        if self.random.random() < assumptions.wear_below_limit:
            return rotor.new_mm - rotor.usable_mm - self.random.exponential(assumptions.wear_below_scale_mm)
        return rotor.new_mm - self.random.uniform(0, rotor.usable_mm)

    def told(self, key: str, true: int) -> int:
        """Return the kind that a person names."""
        table = self.world.assumptions.confusion[key]
        return int(self.random.choice(len(table), p=table[true]))

    def surface_in_hand(self, rotor: TrueRotor) -> int:
        """Return the surface, of a replacement rotor now and then."""
        if self.random.random() >= self.world.assumptions.replaced_surface:
            return rotor.surface
        return int(self.random.choice([code for code in range(len(SURFACES)) if code != rotor.surface]))


def _with_traits(rotor: TrueRotor, other: TrueRotor, traits: set[str]) -> TrueRotor:
    """Return a rotor with some traits of another."""
    lengths = {key: other.lengths[key] if key in traits else value for key, value in rotor.lengths.items()}
    names = {str(name) for name in ("surface", "ventilation", "construction", "bolt_count") if name in traits}
    if "thickness_mm" in traits:
        names |= {"new_mm", "usable_mm", "limit_mm"}
    own: dict[str, Any] = {name: getattr(other, name) for name in names}
    return replace(rotor, lengths=lengths, **own)


SIZE = (("diameter_mm",), ("thickness_mm",))
TRAITS: Mapping[str, Sequence[Sequence[str]]] = {
    "told": (("diameter_mm",), ("surface",)),
    "several readings": (("thickness_mm",),),
    "lip and height": (("thickness_mm",), ("height_mm",), ("centre_bore_mm",)),
    "words": (("diameter_mm",), ("surface",), ("ventilation",), ("construction",), ("bolt_count",)),
    "photo": (("diameter_mm", "ring_inner_mm", "hat_mm"), ("surface",)),
    "no scale": (("diameter_mm", "ring_inner_mm", "hat_mm", "centre_bore_mm", "bolt_circle_mm"), ("surface",)),
}
"""What each kind of case looks at, by trait; the others look at the size."""


def _weights(catalogue: Catalogue) -> FloatArray:
    """Prior of each fitment, the plain way, row by row."""
    fitments = catalogue.fitments
    weight = np.zeros(len(fitments))
    cars = {}
    for model in range(len(fitments.models)):
        rows = [row for row in range(len(fitments)) if fitments.model[row] == model]
        stated = sum(fitments.share[row] for row in rows if np.isfinite(fitments.share[row]))
        empty = [row for row in rows if not np.isfinite(fitments.share[row])]
        for row in rows:
            weight[row] = max(1 - stated, 0) / len(empty) if row in empty else fitments.share[row]
        weight[rows] /= weight[rows].sum()
        figures = {float(fitments.cars[row]) for row in rows if np.isfinite(fitments.cars[row])}
        cars[model] = next(iter(figures)) if len(figures) == 1 else None
    known = [each for each in cars.values() if each is not None]
    mean = sum(known) / len(known) if known else 1.0
    for row in range(len(fitments)):
        of_model = cars[int(fitments.model[row])]
        weight[row] *= mean if of_model is None else of_model
    normalised: FloatArray = weight / weight.sum()
    return normalised


def _size(simulator: Simulator, rotor: TrueRotor) -> dict[str, Any]:
    thickness = simulator.worn(rotor, "used", "swept")
    return {
        "diameter_mm": simulator.read("diameter_mm", rotor.lengths["diameter_mm"], 0.3),
        "thickness_mm": simulator.read("thickness_mm", thickness, 0.15),
        "thickness_over": "swept",
        "condition": "used",
    }


def _size_unsaid(simulator: Simulator, rotor: TrueRotor) -> dict[str, Any]:
    thickness = simulator.worn(rotor, "unknown", "unknown")
    return {
        "diameter_mm": simulator.read("diameter_mm", rotor.lengths["diameter_mm"], 0.3),
        "thickness_mm": simulator.read("thickness_mm", thickness, 0.15),
    }


def _told_size(simulator: Simulator, rotor: TrueRotor) -> dict[str, Any]:
    said = SURFACES[simulator.told("surface", simulator.surface_in_hand(rotor))]
    diameter = simulator.read("diameter_mm", rotor.lengths["diameter_mm"], 2.0)
    return {"diameter_mm": {"value": diameter, "tool": "told"}, "surface": said}


def _several_readings(simulator: Simulator, rotor: TrueRotor) -> dict[str, Any]:
    thickness = simulator.worn(rotor, "used", "swept")
    tool = {"std": 0.05}
    return {
        "thickness_mm": [{"value": simulator.read("thickness_mm", thickness, 0.05), **tool} for _ in range(3)],
        "condition": "used",
        "thickness_over": "swept",
    }


def _lip_and_height(simulator: Simulator, rotor: TrueRotor) -> dict[str, Any]:
    thickness = simulator.worn(rotor, "used", "lip")
    return {
        "thickness_mm": simulator.read("thickness_mm", thickness, 0.15),
        "thickness_over": "lip",
        "condition": "used",
        "height_mm": simulator.read("height_mm", rotor.lengths["height_mm"], 0.3),
        "centre_bore_mm": simulator.read("centre_bore_mm", rotor.lengths["centre_bore_mm"], 0.15),
    }


def _words(simulator: Simulator, rotor: TrueRotor) -> dict[str, Any]:
    counted = simulator.random.random() < simulator.world.assumptions.counted_rightly
    wrong = int(simulator.random.choice([count for count in range(3, 9) if count != rotor.bolt_count]))
    return {
        "surface": SURFACES[simulator.told("surface", simulator.surface_in_hand(rotor))],
        "ventilation": ("solid", "vented")[simulator.told("ventilation", rotor.ventilation)],
        "construction": ("one-piece", "two-piece")[simulator.told("construction", rotor.construction)],
        "bolt_count": rotor.bolt_count if counted else wrong,
        "diameter_mm": {"value": simulator.read("diameter_mm", rotor.lengths["diameter_mm"], 1.5), "tool": "tape"},
    }


def _photo(simulator: Simulator, rotor: TrueRotor) -> dict[str, Any]:
    """A photo whose scale is 0.5 % off, common to all its lengths, with own errors, and a calibrated eye."""
    keys = ("diameter_mm", "ring_inner_mm", "hat_mm")
    true = np.array([rotor.lengths[key] for key in keys])
    covariance = np.outer(0.005 * true, 0.005 * true) + np.diag([0.3, 0.8, 0.6]) ** 2
    value = simulator.random.multivariate_normal(true, covariance)
    if simulator.random.random() < simulator.world.assumptions.gross_error:
        value = np.array(
            [simulator.gross(key, std) for key, std in zip(keys, np.sqrt(np.diag(covariance)), strict=True)]
        )
    std = np.sqrt(np.diag(covariance))
    return {
        "measurements": [
            {
                "view": "face",
                "status": "measured",
                "dimensions": {
                    k: {"value": float(v), "std": float(s)} for k, v, s in zip(keys, value, std, strict=True)
                },
                "covariance": {"keys": list(keys), "matrix": covariance.tolist()},
                "surface": _seen_surface(simulator, rotor),
            }
        ]
    }


def _no_scale(simulator: Simulator, rotor: TrueRotor) -> dict[str, Any]:
    keys = ("ring_inner_mm", "hat_mm", "centre_bore_mm", "bolt_circle_mm")
    true = np.array([rotor.lengths[key] / rotor.lengths["diameter_mm"] for key in keys])
    common = 0.003
    covariance = (np.full((4, 4), common**2) + np.eye(4) * 0.004**2) * np.outer(true, true)
    value = true * np.exp(simulator.random.multivariate_normal(np.zeros(4), covariance / np.outer(true, true)))
    names = [key.replace("_mm", "_over_diameter") for key in keys]
    stated = covariance / np.outer(true, true) * np.outer(value, value)
    std = np.sqrt(np.diag(stated))
    ratios: dict[str, Any] = {
        n: {"value": float(v), "std": float(s)} for n, v, s in zip(names, value, std, strict=True)
    }
    ratios["covariance"] = {"keys": names, "matrix": stated.tolist()}
    refused = {"view": "face", "status": "refused", "ratios": ratios, "surface": _seen_surface(simulator, rotor)}
    return {"measurements": [refused]}


def _numbers(names: Sequence[str], values: FloatArray, stds: FloatArray) -> dict[str, Any]:
    """Return named numbers in the wire form of a measurement."""
    pairs = zip(values.tolist(), stds.tolist(), strict=True)
    return {name: {"value": value, "std": std} for name, (value, std) in zip(names, pairs, strict=True)}


def _seen_surface(simulator: Simulator, rotor: TrueRotor) -> dict[str, float]:
    """What a calibrated eye says: one answer of a channel, as likelihoods under equal priors."""
    channel = 0.8 * np.eye(6) + 0.2 / 6
    answer = int(simulator.random.choice(6, p=channel[simulator.surface_in_hand(rotor)]))
    table = channel[:, answer] / channel[:, answer].sum()
    return dict(zip(SURFACES, table.tolist(), strict=True))


def _stamped(simulator: Simulator, rotor: TrueRotor) -> dict[str, Any]:
    assumptions, random = simulator.world.assumptions, simulator.random
    limit = rotor.limit_mm
    if not np.isfinite(limit):
        limit = rotor.new_mm - random.normal(assumptions.usable_wear_mm, assumptions.usable_wear_std_mm)
    mark = random.normal(limit, assumptions.mark_std_mm)
    if random.random() < assumptions.gross_error:
        mean, spread = simulator.population[simulator.axle]["thickness_mm"]
        mark = random.normal(mean - assumptions.usable_wear_mm, spread)
    diameter = simulator.read("diameter_mm", rotor.lengths["diameter_mm"], 2.0)
    return {
        "min_thickness_mark_mm": abs(mark) + 1e-3,
        "mark_kind": "discard",
        "diameter_mm": {"value": diameter, "std": 2.0},
    }


KINDS: Mapping[str, Callable[[Simulator, TrueRotor], dict[str, Any]]] = {
    "size": _size,
    "size, wear unsaid": _size_unsaid,
    "told": _told_size,
    "several readings": _several_readings,
    "lip and height": _lip_and_height,
    "words": _words,
    "photo": _photo,
    "no scale": _no_scale,
    "stamped": _stamped,
    "unknown axle": _size,
    "both axles": _size,
}


def other_worlds(assumptions: Assumptions) -> dict[str, World]:
    """Return worlds that the ranking doesn't assume."""
    return {
        "as assumed": World(assumptions),
        "wear mostly late": World(assumptions, wear=lambda random, usable: usable * float(random.beta(4, 1.5))),
        "wear mostly early": World(assumptions, wear=lambda random, usable: usable * float(random.beta(1, 3))),
        "tolerances doubled": World(
            replace(assumptions, tolerance_mm={key: 2 * value for key, value in assumptions.tolerance_mm.items()})
        ),
        "surfaces 5 % mislabelled": World(assumptions, mislabelled=0.05),
        "gross errors 3 %, half of them inches or digits swapped": World(
            replace(assumptions, gross_error=0.03), gross=_other_gross
        ),
    }


def _other_gross(random: np.random.Generator, key: str, true: float, population: tuple[float, float]) -> float:
    del key
    if random.random() < 0.5:
        return abs(float(random.normal(*population))) + 1e-3
    return true / 25.4 if random.random() < 0.5 else max(true + float(random.choice([-10, 10, -9, 9])), 0.5)
