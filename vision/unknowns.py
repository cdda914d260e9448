"""The unknowns of a scene: each with a name, a start, a scale and what is known of it beforehand."""

from collections.abc import Mapping
from dataclasses import dataclass, field

import numpy as np

from vision.measurement import FloatArray


@dataclass(frozen=True)
class Unknown:
    """One number the fit looks for.

    Attributes
    ----------
    start : float
        Where the search begins.
    scale : float
        A change that matters; the step of the numerical derivative is a thousandth of it.
    mean, std : float
        The prior, normal; ``std`` infinite for none.
    """

    start: float
    scale: float
    mean: float = 0.0
    std: float = np.inf


@dataclass
class Unknowns:
    """An ordered table of unknowns, and the vectors made from it."""

    table: dict[str, Unknown] = field(default_factory=dict)

    def add(self, name: str, start: float, scale: float, *, std: float = np.inf, mean: float | None = None) -> None:
        """Add an unknown; the prior's mean is the start unless given."""
        self.table[name] = Unknown(start, scale, start if mean is None else mean, std)

    def restart(self, values: Mapping[str, float]) -> "Unknowns":
        """Return the same table with other starts; names it doesn't have are passed over."""
        table = {
            name: Unknown(values.get(name, old.start), old.scale, old.mean, old.std) for name, old in self.table.items()
        }
        return Unknowns(table)

    @property
    def names(self) -> list[str]:
        """Names in the vector's order."""
        return list(self.table)

    def column(self, attribute: str) -> FloatArray:
        """Return one attribute of every unknown as a vector."""
        return np.array([getattr(unknown, attribute) for unknown in self.table.values()], dtype=np.float64)
