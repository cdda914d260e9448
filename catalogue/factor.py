"""One piece of evidence, weighed against every row of the table that it speaks of."""

from dataclasses import dataclass
from typing import Literal

from catalogue.schema import FloatArray

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
    log_likelihood : (N + 1,) ndarray
        Natural logarithm of p(evidence | row); the last row is the one of which nothing is known.
    said : str
        What was observed, in words.
    """

    evidence: str
    room: Room
    log_likelihood: FloatArray
    said: str
