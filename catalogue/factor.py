"""One piece of evidence, weighed against every row of the table that it speaks of."""

from dataclasses import dataclass
from typing import Literal

from catalogue.schema import FloatArray, IntArray

Room = Literal["rotor", "pads", "caliper", "package"]


@dataclass(frozen=True, eq=False, slots=True)
class Factor:
    """One piece of evidence.

    Attributes
    ----------
    evidence : str
        Key of the contract.
    room : {"rotor", "pads", "caliper", "package"}
        Table whose rows it tells apart.
    log_distinct : (U,) ndarray
        Natural logarithm of p(evidence | row) of each different row.
    said : str
        What was observed, in words.
    place : (N + 1,) ndarray of int, optional
        Which of the U each row is, the last being the one of which nothing is known; each its own where not given.
    trait : str, optional
        What of the part it speaks of, where that is not the evidence itself: factors of one trait hang together.
    number : bool, optional
        Whether it is the part's own number, which no other part carries.
    log_sound : (U,) ndarray, optional
        The part of the likelihood in which every reading is of the row's part, and none grossly wrong.
    log_other_class : float, optional
        Log p(evidence | a part of another class of car), where that is not the same as of one of which nothing is
        known: lengths then lie anywhere about the catalogue's.
    """

    evidence: str
    room: Room
    log_distinct: FloatArray
    said: str
    place: IntArray | None = None
    trait: str = ""
    number: bool = False
    log_sound: FloatArray | None = None
    log_other_class: float | None = None

    @property
    def log_likelihood(self) -> FloatArray:
        """Return log p(evidence | row), (N + 1,)."""
        return self.of_rows(self.log_distinct)

    def of_rows(self, distinct: FloatArray) -> FloatArray:
        """Return for each row, (N + 1,), what ``distinct``, (U,), says of it."""
        return distinct if self.place is None else distinct[self.place]

    def at_rows(self, distinct: FloatArray, rows: IntArray) -> FloatArray:
        """Return the same for some rows."""
        return distinct[rows] if self.place is None else distinct[self.place[rows]]

    @property
    def log_unknown(self) -> float:
        """Return log p(evidence | a part of which nothing is known)."""
        return float(self.log_distinct[-1 if self.place is None else self.place[-1]])

    @property
    def of_other_class(self) -> float:
        """Return log p(evidence | a part of another class of car)."""
        return self.log_unknown if self.log_other_class is None else self.log_other_class
