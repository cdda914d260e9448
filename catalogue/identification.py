"""The answer to a piece of evidence, worked out as far as it is asked for, and its wire form."""

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

from catalogue.apart import AlikeGroup, alike_groups
from catalogue.assumptions import Assumptions
from catalogue.candidate import Candidate, Others, rank
from catalogue.chart import ReadingChart, reading_charts
from catalogue.checks import Check
from catalogue.checks_left import checks_left
from catalogue.conflict import Conflict, conflicts_of
from catalogue.explain import Explainer
from catalogue.field import Field
from catalogue.next_check import NextCheck, marks_first, next_checks
from catalogue.observation import Evidence
from catalogue.order import OrderSheet
from catalogue.posterior import Posterior
from catalogue.schema import UNKNOWN
from catalogue.settled import order_of, wear_of
from catalogue.verdict import PartVerdict, Verdict, fits_nothing, worst
from catalogue.wear import WearReport
from catalogue.weigh import Ignored
from catalogue.wire_form import identification_json
from catalogue.wording import cautions_of, ignored_of, message_of


@dataclass(frozen=True, eq=False)
class Identification:
    """What the car may have, and what to do about it.

    Attributes
    ----------
    belief : Posterior
    field : Field
        The packages in the running.
    evidence : Evidence
    assumptions : Assumptions
    measured_verdicts : tuple of PartVerdict
        Verdicts before a contradiction between part and records is taken into account.
    """

    belief: Posterior
    field: Field
    evidence: Evidence
    assumptions: Assumptions
    measured_verdicts: tuple[PartVerdict, ...]

    @cached_property
    def checks(self) -> tuple[Check, ...]:
        """The checks that can still be made."""
        return checks_left(self.belief, self.field, self.evidence, self.assumptions)

    @property
    def none_of_these(self) -> float:
        """Probability that the part is none of the catalogue's."""
        return self.belief.none_of_these

    @property
    def candidates(self) -> tuple[Candidate, ...]:
        """Fitments of 1e-4 or more, best first."""
        return self._ranked[0]

    @property
    def others(self) -> Others:
        """The fitments that are not listed."""
        return self._ranked[1]

    @cached_property
    def _ranked(self) -> tuple[tuple[Candidate, ...], Others]:
        return rank(self.belief, Explainer(self.belief, self.evidence, self.assumptions))

    @cached_property
    def parts(self) -> tuple[PartVerdict, ...]:
        """A verdict for each wanted part; none is ready where records or its own number contradict the part in hand."""
        if not any(conflict.stops for conflict in self.conflicts):
            return self.measured_verdicts
        stopped: Verdict = "check"
        return tuple(
            replace(each, verdict=stopped) if each.verdict == "ready" else each for each in self.measured_verdicts
        )

    @property
    def verdict(self) -> Verdict:
        """The worst among the wanted parts."""
        return "no-match" if self.nothing_fits else worst(self.parts)

    @cached_property
    def nothing_fits(self) -> bool:
        """Whether nothing in the catalogue fits the readings as they stand."""
        return fits_nothing(self.belief, self.assumptions)

    @cached_property
    def conflicts(self) -> tuple[Conflict, ...]:
        """What contradicts what about the likeliest candidate."""
        if not self.candidates:
            return ()
        best = self.candidates[0]
        package = sum(each.probability for each in self.candidates if each.package == best.package)
        return conflicts_of(best.why, best.package, package)

    @cached_property
    def cannot_tell_apart(self) -> tuple[AlikeGroup, ...]:
        """Packages that these readings, or any, leave together; none where nothing fits."""
        if self.nothing_fits:
            return ()
        return alike_groups(self.belief, self.field, self.evidence, self.assumptions)

    @cached_property
    def next_checks(self) -> tuple[NextCheck, ...]:
        """Checks worth making, those that tell most for their time first; none where nothing fits."""
        if not len(self.field) or self.nothing_fits:
            return ()
        worth = next_checks(self.field, self.checks, self.evidence.axles, self.assumptions)
        if any(conflict.stops for conflict in self.conflicts):
            worth = marks_first(worth, self.evidence, self.assumptions)
        return tuple(worth)

    @cached_property
    def wear(self) -> tuple[WearReport, ...]:
        """Wear of each axle whose rotor is settled and whose thickness was read."""
        return wear_of(self.belief, self.evidence, self.assumptions)

    @cached_property
    def order(self) -> OrderSheet:
        """What may be ordered now."""
        return order_of(self.belief, self.field, self.parts)

    @cached_property
    def charts(self) -> tuple[ReadingChart, ...]:
        """Each reading against what the likeliest packages would read."""
        ranked = (-self.field.mass).argsort(kind="stable").tolist()
        inside = 1 - self.none_of_these
        charts: list[ReadingChart] = []
        for axle, observed in self.evidence.axles.items():
            rows = self.field.rows[axle]
            packages = [
                (int(self.field.package[place]), int(rows[place]), float(self.field.mass[place]) * inside)
                for place in ranked
                if rows[place] != UNKNOWN
            ]
            charts += reading_charts(self.belief.prepared, (axle, observed), packages, self.assumptions)
        return tuple(charts)

    @property
    def message(self) -> str:
        """The answer in a sentence or two."""
        found = (self.belief, self.next_checks, self.conflicts)
        return message_of(self.verdict, self.parts, found, nothing_fits=self.nothing_fits)

    @property
    def cautions(self) -> list[str]:
        """The standing cautions, and those that this evidence calls for."""
        return cautions_of(self.evidence, self.belief, nothing_fits=self.nothing_fits)

    @property
    def ignored(self) -> list[Ignored]:
        """What was accepted and not weighed."""
        return ignored_of(self.belief, self.evidence)

    def to_json(self) -> dict[str, Any]:
        """Return the contract's document."""
        return identification_json(self)
