"""The catalogue as pages show it: models with their packages, rotors as drawings need them."""

from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from datetime import date
from functools import cached_property

import numpy as np

from catalogue import Catalogue
from catalogue.schema import AXLES, OFFERS, STILL_MADE, UNKNOWN, Caliper, Pads, Rotor, month_text
from service.charts import RotorFigures

FITMENT_COLUMNS = (
    "model",
    "package",
    "year_from",
    "year_to",
    "built_from",
    "built_to",
    "code",
    "offered",
    "share",
    "cars",
)


@dataclass(frozen=True)
class Brake:
    """One axle of a package, with its parts."""

    package: str
    name: str
    axle: str
    rotor: Rotor
    rotor_right: Rotor | None
    pads: Pads
    caliper: Caliper
    min_wheel_in: float | None


@dataclass(frozen=True)
class Offer:
    """A package as one model has it."""

    package: str
    years: str
    built: str
    option_code: str
    offered: str
    brakes: tuple[Brake, ...]


@dataclass(frozen=True)
class Shelf:
    """Read-only views of one catalogue."""

    catalogue: Catalogue

    @cached_property
    def lines(self) -> dict[str, list[str]]:
        """The models of each line, sorted."""
        lines: dict[str, list[str]] = {}
        for line, model in sorted(self.catalogue.fitments.models):
            lines.setdefault(line, []).append(model)
        return lines

    @property
    def largest_mm(self) -> float:
        """The largest rotor's diameter, which all drawings are scaled by."""
        return float(self.catalogue.rotors.diameter_mm.max())

    def years(self, line: str, model: str = "") -> list[int]:
        """Return the years that a line, or one model of it, was made in, the latest first."""
        fitments = self.catalogue.fitments
        numbers = [n for n, name in enumerate(fitments.models) if name[0] == line and model in ("", name[1])]
        rows = np.isin(fitments.model, numbers)
        if not rows.any():
            return []
        first, last = int(fitments.year_from[rows].min()), int(fitments.year_to[rows].max())
        # A model year begins before its calendar year does.
        until = max(date.today().year + 1, int(fitments.year_from[rows].max())) if last == STILL_MADE else last
        return list(range(until, first - 1, -1))

    def offers(self, line: str, model: str) -> list[Offer]:
        """Return what one model may have, in the catalogue's order; empty for an unknown model."""
        fitments = self.catalogue.fitments
        if (line, model) not in fitments.models:
            return []
        number = fitments.models.index((line, model))
        return [self._offer(int(row)) for row in (fitments.model == number).nonzero()[0]]

    def brakes_of_axle(self, line: str, axle: str) -> list[Brake]:
        """Return the packages of one line on one axle, each once."""
        fitments = self.catalogue.fitments
        models = [number for number, (of_line, _) in enumerate(fitments.models) if of_line == line]
        rows = [int(row) for number in models for row in (fitments.model == number).nonzero()[0]]
        packages = dict.fromkeys(int(fitments.package[row]) for row in rows)
        return [brake for package in packages for brake in self._brakes(package) if brake.axle == axle]

    def only(self, line: str) -> Catalogue:
        """Return the catalogue with the fitments of one line alone."""
        fitments = self.catalogue.fitments
        of_line = fitments.model_line[fitments.model] == fitments.lines.index(line)
        rows = {name: getattr(fitments, name)[of_line] for name in FITMENT_COLUMNS}
        return replace(self.catalogue, fitments=replace(fitments, **rows))

    def ring_widths_mm(self, packages: Iterable[str], axles: Sequence[str]) -> list[float]:
        """Return how wide the friction rings of ``packages`` are where that is known, mm; ``unknown`` is any axle."""
        brakes = (b for key in packages for b in self._brakes(self.catalogue.packages.index[key]))
        return [
            (brake.rotor.diameter_mm - brake.rotor.ring_inner_mm) / 2
            for brake in brakes
            if brake.rotor.ring_inner_mm is not None and (brake.axle in axles or "unknown" in axles)
        ]

    def _offer(self, row: int) -> Offer:
        fitments = self.catalogue.fitments
        package = int(fitments.package[row])
        code, offered = int(fitments.code[row]), int(fitments.offered[row])
        until = int(fitments.year_to[row])
        return Offer(
            package=self.catalogue.packages.keys[package],
            years=f"{int(fitments.year_from[row])} to {'now' if until == STILL_MADE else until}",
            built=_months(int(fitments.built_from[row]), int(fitments.built_to[row])),
            option_code="" if code == UNKNOWN else fitments.codes[code],
            offered="" if offered == UNKNOWN else OFFERS[offered],
            brakes=tuple(self._brakes(package)),
        )

    def _brakes(self, package: int) -> Iterator[Brake]:
        packages, catalogue = self.catalogue.packages, self.catalogue
        for row in map(int, packages.row[package]):
            if row == UNKNOWN:
                continue
            right, wheel = int(packages.rotor_right[row]), float(packages.min_wheel_in[row])
            yield Brake(
                package=packages.keys[package],
                name=packages.name_of(package),
                axle=AXLES[int(packages.axle[row])],
                rotor=catalogue.rotors.row(int(packages.rotor[row])),
                rotor_right=None if right == UNKNOWN else catalogue.rotors.row(right),
                pads=catalogue.pads.row(int(packages.pads[row])),
                caliper=catalogue.calipers.row(int(packages.caliper[row])),
                min_wheel_in=None if wheel != wheel else wheel,  # NaN: not known
            )


def _months(first: int, last: int) -> str:
    """Return the months between which a package was built, in words; empty where neither is known."""
    said = [("from", first)] if first != UNKNOWN else []
    said += [("to" if said else "until", last)] if last != UNKNOWN else []
    return " ".join(f"{word} {month_text(month)}" for word, month in said)


def figures_of(rotor: Rotor) -> RotorFigures:
    """Return the numbers that a rotor's drawing needs."""
    return RotorFigures(
        diameter_mm=rotor.diameter_mm,
        thickness_mm=rotor.thickness_mm,
        height_mm=rotor.height_mm,
        ring_inner_mm=rotor.ring_inner_mm,
        hat_mm=rotor.hat_mm,
        centre_bore_mm=rotor.centre_bore_mm,
        bolt_count=rotor.bolt_count,
        bolt_circle_mm=rotor.bolt_circle_mm,
        surface=rotor.surface,
        ventilation=rotor.ventilation,
        construction=rotor.construction,
    )
