"""The exact posterior of the model, the slow way: a plain loop over rows, SciPy's densities, numerical integrals.

Written from the design's sentences, to hold the ranking against; nothing of the ranking is used but its table of
assumptions and the catalogue's columns.
"""

from copy import copy
from typing import Any

import numpy as np
from scipy import integrate, stats

from catalogue.assumptions import Assumptions
from catalogue.schema import AXLES, SURFACES, UNKNOWN, Catalogue

CAPS = {"caliper": {"diameter_mm": 0.3, "thickness_mm": 0.15, "height_mm": 0.3, "centre_bore_mm": 0.15}}
TOLD_STD = {"told": 2.0, "tape": 1.5}
WORDS = {"surface": SURFACES, "ventilation": ("solid", "vented"), "construction": ("one-piece", "two-piece")}
RATIO_NAMES = ("ring_inner", "hat", "centre_bore", "bolt_circle")


class ExactPosterior:
    """Posterior over fitments and none of these, for the evidence that the simulator writes.

    Parameters
    ----------
    catalogue : Catalogue
    assumptions : Assumptions
    weight : (F,) sequence of float
        Prior of each fitment.
    simulator : Simulator
        Whose populations, and rotors in use on each axle, it takes.
    """

    def __init__(self, catalogue: Catalogue, assumptions: Assumptions, weight: Any, simulator: Any) -> None:
        self.catalogue = catalogue
        self.assumptions = assumptions
        self.weight = weight
        self.population = simulator.population
        self.used = simulator.used
        self.widening = 1.0
        self.differing: dict[str, list[float]] = {}

    def __call__(self, evidence: dict[str, Any]) -> dict[tuple[int, str], float]:
        """Return the probability of each (fitment, axle), and of (-1, "") for none of these."""
        axles, inside = evidence["axles"], 1 - self.assumptions.none_of_these
        traits = {axle: self._rotors(axle, read) for axle, read in axles.items()}
        rows = {axle: {row: float(np.prod(each)) for row, each in of.items()} for axle, of in traits.items()}
        unknown = {axle: rows[axle][UNKNOWN] for axle in axles}
        priors = self._priors(evidence["vehicle"], tuple(axles))
        joint = {}
        for (fitment, axle), prior in priors.items():
            package = self.catalogue.packages.row[self.catalogue.fitments.package[fitment]]
            likelihood = 1.0
            for named in axles:
                row = package[AXLES.index(axle if named == "unknown" else named)]
                likelihood *= unknown[named] if row == UNKNOWN else self._of_package(row, rows[named])
            joint[fitment, axle] = inside * prior * likelihood
        of_other, share = self.assumptions.other_class, self.assumptions.kin_of_a_part
        other = self._other_class(axles)
        any_other = float(np.prod([np.prod(each) for each in other.values()]))
        any_car = (1 - of_other) * float(np.prod(list(unknown.values()))) + of_other * any_other
        for axle, of in traits.items():  # what differs of kin is as of any car
            differs = zip(of[UNKNOWN], other[axle], strict=True)
            self.differing[axle] = [(1 - of_other) * a + of_other * b for a, b in differs]
        kin = self._kin(priors, traits) if sum(len(of[UNKNOWN]) for of in traits.values()) > 1 else any_car
        joint[-1, ""] = self.assumptions.none_of_these * ((1 - share) * any_car + share * kin)
        whole = sum(joint.values())
        return {key: value / whole for key, value in joint.items()}

    def _other_class(self, axles: dict[str, Any]) -> dict[str, list[float]]:
        """Return p(evidence | of another class of car), whose lengths are spread wider, trait by trait."""
        other = copy(self)
        other.widening = self.assumptions.other_class_widening
        return {axle: other._rotor(axle, read, None) for axle, read in axles.items()}

    def _kin(self, priors: dict[tuple[int, str], float], traits: dict[str, dict[int, list[float]]]) -> float:
        """Return p(evidence | kin of one of these): some traits alike, at least one drawn from the population."""
        alike = self.assumptions.kin_alike
        both, all_alike = 0.0, 0.0
        for (fitment, axle), prior in priors.items():
            package = self.catalogue.packages.row[self.catalogue.fitments.package[fitment]]
            of_kin, same = prior, prior
            for named, of_rows in traits.items():
                row = package[AXLES.index(axle if named == "unknown" else named)]
                unknown = self.differing[named]
                mixed = {
                    each: float(np.prod([alike * a + (1 - alike) * b for a, b in zip(found, unknown, strict=True)]))
                    for each, found in of_rows.items()
                }
                exact = {each: float(np.prod([alike * a for a in found])) for each, found in of_rows.items()}
                of_kin *= mixed[UNKNOWN] if row == UNKNOWN else self._of_package(row, mixed)
                same *= exact[UNKNOWN] if row == UNKNOWN else self._of_package(row, exact)
            both, all_alike = both + of_kin, all_alike + same
        count = sum(len(of_rows[UNKNOWN]) for of_rows in traits.values())
        return (both - all_alike) / (1 - alike**count)

    def _priors(self, vehicle: dict[str, str], axles: tuple[str, ...]) -> dict[tuple[int, str], float]:
        """Return the prior of each fitment on each axle that the evidence may be of."""
        fitments = self.catalogue.fitments
        found: dict[tuple[int, str], float] = {}
        for fitment in range(len(fitments)):
            line, model = fitments.models[fitments.model[fitment]]
            package = self.catalogue.packages.row[fitments.package[fitment]]
            has = [axle for code, axle in enumerate(AXLES) if package[code] != UNKNOWN]
            readings = (
                has if "unknown" in axles else ["both"] if len(axles) == 2 else [axle for axle in axles if axle in has]
            )
            if vehicle.get("line", line) == line and vehicle.get("model", model) == model:
                found |= {(fitment, axle): float(self.weight[fitment]) / len(readings) for axle in readings}
        total = sum(found.values())
        return {key: prior / total for key, prior in found.items()}

    def _rotors(self, axle: str, read: dict[str, Any]) -> dict[int, list[float]]:
        known = {int(row): self._rotor(axle, read, int(row)) for row in self.used[axle]}
        return {**known, UNKNOWN: self._rotor(axle, read, None)}

    def _of_package(self, row: int, rotors: dict[int, float]) -> float:
        packages = self.catalogue.packages
        left, right = int(packages.rotor[row]), int(packages.rotor_right[row])
        return rotors[left] if right == UNKNOWN else (rotors[left] + rotors[right]) / 2

    def _rotor(self, axle: str, read: dict[str, Any], row: int | None) -> list[float]:
        """Return p(what was read | rotor) trait by trait, of an unknown rotor where ``row`` is None."""
        lengths = [key for key in ("diameter_mm", "height_mm", "centre_bore_mm") if key in read]
        found = [self._length(axle, key, read[key], row) for key in lengths]
        for key, kinds in WORDS.items():
            if key in read:
                column = self.assumptions.confusion[key][:, kinds.index(read[key])]
                found.append(self._kind(axle, key, column, row, replaced=key == "surface"))
        if "bolt_count" in read:
            found.append(self._bolts(axle, read["bolt_count"], row))
        if "thickness_mm" in read or "min_thickness_mark_mm" in read:
            found.append(self._thickness(axle, read, row))
        for photo in read.get("measurements", []):
            found += self._photo(axle, photo, row)
        return found

    def _length(self, axle: str, key: str, read: Any, row: int | None) -> float:
        value, std = _value_std(key, read)
        mean, spread = self.population[axle][key]
        nominal = np.nan if row is None else getattr(self.catalogue.rotors, key)[row]
        tolerance = self.assumptions.tolerance_mm[key]
        about = (nominal, tolerance) if np.isfinite(nominal) else (mean, self.widening * spread)
        sound = stats.norm.pdf(value, about[0], np.hypot(std, about[1]))
        gross = self._gross(value, std, (mean, spread))
        return float((1 - self.assumptions.gross_error) * sound + self.assumptions.gross_error * gross)

    def _gross(self, value: float, std: float, population: tuple[float, ...]) -> float:
        """Return the density of a gross error: another rotor's length, or anything at all."""
        mean, spread, *given = population
        wide = given[0] if given else self.assumptions.gross_width * abs(mean)
        share = self.assumptions.gross_elsewhere
        another = stats.norm.pdf(value, mean, np.hypot(spread, std))
        return float((1 - share) * another + share * stats.norm.pdf(value, mean, np.hypot(wide, std)))

    def _kind(self, axle: str, key: str, of_kind: Any, row: int | None, *, replaced: bool) -> float:
        chance = self.assumptions.replaced_surface if replaced else 0.0
        kinds = len(of_kind)
        expected = [
            (1 - chance) * of_kind[kind]
            + chance * sum(of_kind[other] for other in range(kinds) if other != kind) / (kinds - 1)
            for kind in range(kinds)
        ]
        codes = getattr(self.catalogue.rotors, key)
        code = UNKNOWN if row is None else int(codes[row])
        if code != UNKNOWN:
            return float(expected[code])
        of_axle = [int(codes[each]) for each in self.used[axle] if codes[each] != UNKNOWN]
        counts = [of_axle.count(kind) + 0.5 for kind in range(kinds)]
        return float(sum(count * each for count, each in zip(counts, expected, strict=True)) / sum(counts))

    def _bolts(self, axle: str, told: int, row: int | None) -> float:
        right = self.assumptions.counted_rightly * (1 - self.assumptions.gross_error)
        right += self.assumptions.gross_error / 5
        counts = self.catalogue.rotors.bolt_count
        if row is not None and np.isfinite(counts[row]):
            return right if counts[row] == told else (1 - right) / 5
        of_axle = [counts[each] for each in self.used[axle] if np.isfinite(counts[each])]
        kinds = sorted({*of_axle, told})
        weights = [of_axle.count(kind) + 0.5 for kind in kinds]
        each = [right if kind == told else (1 - right) / 5 for kind in kinds]
        return sum(w * p for w, p in zip(weights, each, strict=True)) / sum(weights)

    def _thickness(self, axle: str, read: dict[str, Any], row: int | None) -> float:
        rotors = self.catalogue.rotors
        if row is not None:
            limit = rotors.min_thickness_mm[row]
            return self._of_ring(axle, read, float(rotors.thickness_mm[row]), float(limit))
        mean, spread = self.population[axle]["thickness_mm"]
        far = 4 * spread * self.assumptions.other_class_widening
        high = max(min(mean + far, self.assumptions.thickest_mark_mm), mean + 4 * spread)
        grid = np.linspace(max(mean - far, 0.15), high, 201)
        weight = stats.norm.pdf(grid, mean, self.widening * spread)
        each = [self._of_ring(axle, read, new, np.nan) for new in grid]
        return float((weight @ each) / weight.sum())

    def _of_ring(self, axle: str, read: dict[str, Any], new: float, limit: float) -> float:
        mean, spread = self.population[axle]["thickness_mm"]
        gross = self.assumptions.gross_error
        likelihood = 1.0
        if "min_thickness_mark_mm" in read:
            mark, known = read["min_thickness_mark_mm"], np.isfinite(limit)
            expected = limit if known else new - self.assumptions.usable_wear_mm
            std = self.assumptions.mark_std_mm
            std = std if known else float(np.hypot(std, self.assumptions.usable_wear_std_mm))
            rounding = self.assumptions.mark_std_mm
            misread = self._gross(mark + self.assumptions.usable_wear_mm, rounding, (mean, spread))
            likelihood *= (1 - gross) * stats.norm.pdf(mark, expected, std) + gross * misread
        readings = read.get("thickness_mm", [])
        readings = readings if isinstance(readings, list) else [readings]
        if readings:
            likelihood *= self._readings(axle, read, readings, (new, limit))
        return float(likelihood)

    def _readings(self, axle: str, read: dict[str, Any], readings: list[Any], ring: tuple[float, float]) -> float:
        """Sum over which readings are gross; the others share one thickness, integrated over."""
        mean, spread = self.population[axle]["thickness_mm"]
        gross = self.assumptions.gross_error
        pairs = [_value_std("thickness_mm", each) for each in readings]
        total = 0.0
        for mask in range(2 ** len(pairs)):
            sound = [pair for place, pair in enumerate(pairs) if not mask >> place & 1]
            bad = [pair for place, pair in enumerate(pairs) if mask >> place & 1]
            term = gross ** len(bad) * (1 - gross) ** len(sound)
            for value, std in bad:
                term *= self._gross(value, std, (mean, spread))
            if sound:
                term *= self._sound(sound, read, ring)
            total += term
        return total

    def _sound(self, readings: list[tuple[float, float]], read: dict[str, Any], ring: tuple[float, float]) -> float:
        """Integrate the readings' densities over the thickness under the jaws."""
        new, limit = ring
        assumptions, tolerance = self.assumptions, self.assumptions.tolerance_mm["thickness_mm"]
        limit = limit if np.isfinite(limit) else new - assumptions.usable_wear_mm
        condition, over = read.get("condition", "unknown"), read.get("thickness_over", "unknown")
        fresh = {"new": 1.0, "used": 0.0}.get(condition, assumptions.new_when_unknown)
        lip = {"lip": 1.0, "swept": 0.0}.get(over, assumptions.lip_when_unknown)
        worn = (1 - fresh) * (1 - lip)

        value = np.array([each for each, _ in readings])
        noise = np.diag([std**2 for _, std in readings])

        def density(exact: Any, extra_std: float = 0.0) -> Any:
            """Density of the readings where the nominal less wear is ``exact``."""
            covariance = noise + tolerance**2 + extra_std**2
            residual = value - np.atleast_1d(exact)[:, None]
            return np.atleast_1d(stats.multivariate_normal(np.zeros(len(value)), covariance).pdf(residual))

        total = fresh * density(new)[0] + (1 - fresh) * lip * density(new, assumptions.lip_std_mm)[0]
        if worn:
            middle, scale = float(value.mean()), assumptions.wear_below_scale_mm
            even, tail = _grid(max(limit, middle - 3), min(new, middle + 3)), _grid(middle - 3, min(limit, middle + 3))
            below = np.exp(-(limit - tail) / scale) / scale
            total += (
                worn * (1 - assumptions.wear_below_limit) * integrate.simpson(density(even), x=even) / (new - limit)
            )
            total += worn * assumptions.wear_below_limit * integrate.simpson(density(tail) * below, x=tail)
        return float(total)

    def _photo(self, axle: str, photo: dict[str, Any], row: int | None) -> list[float]:
        gross = self.assumptions.gross_error
        seen = np.array([photo["surface"][kind] for kind in SURFACES])
        surface = self._kind(axle, "surface", (1 - gross) * seen + gross / 6, row, replaced=True)
        return [surface, self._scaled(axle, photo, row) if "dimensions" in photo else self._ratios(axle, photo, row)]

    def _scaled(self, axle: str, photo: dict[str, Any], row: int | None) -> float:
        keys = photo["covariance"]["keys"]
        value = np.array([photo["dimensions"][key]["value"] for key in keys])
        nominal = [self._nominal(axle, key, row) for key in keys]
        spread = [self.population[axle][key] for key in keys]
        return self._mixture(value, np.array(photo["covariance"]["matrix"]), nominal, spread)

    def _nominal(self, axle: str, key: str, row: int | None) -> tuple[float, float]:
        nominal = np.nan if row is None else float(getattr(self.catalogue.rotors, key)[row])
        known = np.isfinite(nominal)
        mean, spread = self.population[axle][key]
        return (nominal, self.assumptions.tolerance_mm[key]) if known else (mean, self.widening * spread)

    def _ratios(self, axle: str, photo: dict[str, Any], row: int | None) -> float:
        rotors, used = self.catalogue.rotors, self.used[axle]
        value, nominal, spread = [], [], []
        for name in RATIO_NAMES:
            column = np.log(getattr(rotors, f"{name}_mm") / rotors.diameter_mm)
            known = column[used][np.isfinite(column[used])]
            least = self.assumptions.least_spread("ratio")
            std = self.assumptions.population_widening * max(known.std(), least * abs(known.mean()), least)
            spread.append((float(known.mean()), float(std), 0.5))
            own = np.nan if row is None else column[row]
            tolerance = np.hypot(
                self.assumptions.tolerance_mm[f"{name}_mm"] / np.nanmean(getattr(rotors, f"{name}_mm")[used]),
                self.assumptions.tolerance_mm["diameter_mm"] / np.nanmean(rotors.diameter_mm[used]),
            )
            nominal.append((float(own), float(tolerance)) if np.isfinite(own) else (spread[-1][0], self.widening * std))
            value.append(photo["ratios"][f"{name}_over_diameter"]["value"])
        matrix = np.array(photo["ratios"]["covariance"]["matrix"]) / np.outer(value, value)
        return self._mixture(np.log(value), matrix, nominal, spread)

    def _mixture(self, value: Any, noise: Any, nominal: list[Any], spread: list[Any]) -> float:
        """Sum over which readings are gross: all subsets, each on its own, or the photo as a whole."""
        gross, count = self.assumptions.gross_error, len(value)
        mean, std = np.array(nominal).T
        joint = noise + np.diag(std**2)
        total = 0.0
        for mask in range(2**count):
            bad = [place for place in range(count) if mask >> place & 1]
            good = [place for place in range(count) if not mask >> place & 1]
            weight = gross if len(bad) == count else gross ** len(bad) * (1 - gross) ** len(good)
            for place in bad:
                weight *= self._gross(value[place], np.sqrt(noise[place, place]), spread[place])
            if good:
                weight *= stats.multivariate_normal.pdf(value[good], mean[good], joint[np.ix_(good, good)])
            total += weight
        return float(total)


def _grid(low: float, high: float) -> Any:
    """Return where to integrate, mm; of no width where there is nothing between the two."""
    return np.linspace(low, max(low, high), 241)


def _value_std(key: str, read: Any) -> tuple[float, float]:
    if not isinstance(read, dict):
        return float(read), CAPS["caliper"][key]
    return float(read["value"]), float(read["std"]) if "std" in read else TOLD_STD[read["tool"]]
