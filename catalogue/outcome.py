"""What a check not yet made would read, for each of a few groups of packages: the models that its worth follows from.

Each model knows G groups, draws an outcome for a group from a number between 0 and 1, and gives the log density of
outcomes under every group.
"""

from dataclasses import dataclass
from math import log, log1p
from typing import Protocol

import numpy as np
from scipy.special import ndtri

from catalogue.assumptions import Assumptions
from catalogue.density import log_normal, log_sum
from catalogue.population import Spread
from catalogue.schema import FloatArray, IntArray
from catalogue.thickness import Limits, ThicknessReadings, log_one_reading

NODES = 7
"""Outcomes tried for each group of a continuous check."""

NEVER = 1e-12


class Outcome(Protocol):
    """What one check would read."""

    def nodes(self) -> tuple[IntArray, FloatArray, FloatArray]:
        """Return outcomes to try: the group each is drawn for, its weight there, the outcome; (Q,) each."""

    def draw(self, group: IntArray, at: FloatArray) -> FloatArray:
        """Return the outcome at quantile ``at``, 0 to 1, for each group; (Q,)."""

    def log_density(self, outcome: FloatArray) -> FloatArray:
        """Return the log density of each outcome under each group, (Q, G)."""

    def overlap(self) -> FloatArray:
        """Return the Bhattacharyya coefficient of each two groups' outcomes, (G, G)."""


@dataclass(frozen=True, eq=False, slots=True)
class NormalOutcome:
    """A length: nominal, tolerance and reading error together; (G,) each. ``spread`` is the gross error's."""

    mean: FloatArray
    std: FloatArray
    spread: Spread
    gross_error: float

    def nodes(self) -> tuple[IntArray, FloatArray, FloatArray]:
        """Return quantiles of each group, evenly."""
        return _even_nodes(self, len(self.mean))

    def draw(self, group: IntArray, at: FloatArray) -> FloatArray:
        """Return normal quantiles."""
        drawn: FloatArray = self.mean[group] + self.std[group] * ndtri(at)
        return drawn

    def log_density(self, outcome: FloatArray) -> FloatArray:
        """Return normal densities, with gross errors."""
        sound = log1p(-self.gross_error) + log_normal(outcome[:, None] - self.mean, self.std)
        gross = self.gross_error * np.exp(self.spread.log_gross(outcome, 0.0))
        density: FloatArray = np.log(np.exp(sound) + np.maximum(gross, NEVER)[:, None])
        return density

    def overlap(self) -> FloatArray:
        """Return that of two normal densities, gross errors aside."""
        sums = np.add.outer(self.std**2, self.std**2)
        apart = np.subtract.outer(self.mean, self.mean) ** 2
        coefficient: FloatArray = np.sqrt(2 * np.outer(self.std, self.std) / sums) * np.exp(-0.25 * apart / sums)
        return coefficient


@dataclass(frozen=True, eq=False, slots=True)
class WordOutcome:
    """A word, a count or a number read off a part: ``table[g, j]`` is the chance of answer j in group g."""

    table: FloatArray

    def nodes(self) -> tuple[IntArray, FloatArray, FloatArray]:
        """Return every answer of every group."""
        groups, answers = self.table.shape
        answer = np.tile(np.arange(answers, dtype=np.float64), groups)
        return np.repeat(np.arange(groups), answers), self.table.ravel(), answer

    def draw(self, group: IntArray, at: FloatArray) -> FloatArray:
        """Return the answer at each quantile of the chances, in their order."""
        below = np.cumsum(self.table, axis=1)[group] < at[:, None]
        drawn: FloatArray = np.minimum(below.sum(axis=1), self.table.shape[1] - 1).astype(np.float64)
        return drawn

    def log_density(self, outcome: FloatArray) -> FloatArray:
        """Return the answers' chances."""
        logs: FloatArray = np.log(np.maximum(self.table[:, outcome.astype(np.int64)].T, NEVER))
        return logs

    def overlap(self) -> FloatArray:
        """Return that of two rows of chances."""
        roots = np.sqrt(self.table)
        coefficient: FloatArray = roots @ roots.T
        return coefficient


@dataclass(frozen=True, eq=False, slots=True)
class CapOutcome:
    """A size that caps what is behind it: the wheel's.

    Attributes
    ----------
    chance : (G, J) ndarray
        How often group g stands on size j.
    likelihood : (G, J) ndarray
        What the size says of group g, as the weighing has it: that it clears the brake, or doesn't. It says nothing
        against a small brake behind a large wheel.
    """

    chance: FloatArray
    likelihood: FloatArray

    def nodes(self) -> tuple[IntArray, FloatArray, FloatArray]:
        """Return every size of every group."""
        return WordOutcome(self.chance).nodes()

    def draw(self, group: IntArray, at: FloatArray) -> FloatArray:
        """Return the size at each quantile."""
        return WordOutcome(self.chance).draw(group, at)

    def log_density(self, outcome: FloatArray) -> FloatArray:
        """Return what the sizes say."""
        return WordOutcome(self.likelihood).log_density(outcome)

    def overlap(self) -> FloatArray:
        """Return the mean, over one group's sizes, of what they say of the other at most."""
        said = np.sqrt(self.likelihood)
        either: FloatArray = np.minimum(self.chance @ said.T, (self.chance @ said.T).T)
        return either


@dataclass(frozen=True, eq=False, slots=True)
class ThicknessOutcome:
    """The worn thickness, by the same chances of new, lip and wear as the weighing takes."""

    limits: Limits
    std_mm: float
    readings: ThicknessReadings
    spread: Spread
    assumptions: Assumptions

    def nodes(self) -> tuple[IntArray, FloatArray, FloatArray]:
        """Return quantiles of each group, evenly."""
        return _even_nodes(self, len(self.limits.new_mm))

    def draw(self, group: IntArray, at: FloatArray) -> FloatArray:
        """Return the nominal for the new and the lipped share, and below it wear from none to the limit."""
        unworn = self.readings.new + (1 - self.readings.new) * self.readings.lip
        worn = np.clip((at - unworn) / max(1 - unworn, NEVER), 0.0, 1.0)
        new_mm = self.limits.new_mm[group]
        drawn: FloatArray = new_mm - worn * (new_mm - self.limits.discard_or_usual(self.assumptions)[group])
        return drawn

    def log_density(self, outcome: FloatArray) -> FloatArray:
        """Return the density of one more reading, with gross errors."""
        groups = len(self.limits.new_mm)
        each = Limits(*(np.tile(column, len(outcome)) for column in self._columns()))
        given = (each, self.assumptions)
        sound = log_one_reading(np.repeat(outcome, groups), self.std_mm**2, self.readings, given)
        gross = log(self.assumptions.gross_error) + self.spread.log_gross(outcome, 0.0)
        shape = (len(outcome), groups)
        sound = log1p(-self.assumptions.gross_error) + sound.reshape(shape)
        return log_sum([sound, np.broadcast_to(gross[:, None], shape)])

    def overlap(self) -> FloatArray:
        """Return that of two rings' readings, from the outcomes of ``nodes``."""
        owner, weight, outcome = self.nodes()
        log_density = self.log_density(outcome)
        own = log_density[np.arange(len(owner)), owner]
        ratio = np.exp(np.minimum((log_density - own[:, None]) / 2, 50.0)) * weight[:, None]
        coefficient = np.equal.outer(np.arange(len(self.limits.new_mm)), owner).astype(np.float64) @ ratio
        return np.minimum(coefficient, coefficient.T)

    def _columns(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        return self.limits.new_mm, self.limits.discard_mm, self.limits.machine_to_mm


def _even_nodes(outcome: Outcome, groups: int) -> tuple[IntArray, FloatArray, FloatArray]:
    owner = np.repeat(np.arange(groups), NODES)
    at = np.tile((np.arange(NODES) + 0.5) / NODES, groups)
    return owner, np.full(len(owner), 1 / NODES), outcome.draw(owner, at)
