"""What is said of a catalogue or of evidence that cannot be used."""

from collections.abc import Sequence
from dataclasses import dataclass

SHOWN_FAULTS = 20
"""So many faults are spelt out in the error's text; all of them are in ``CatalogueError.faults``."""


@dataclass(frozen=True, slots=True)
class Fault:
    """One cell that cannot stand.

    Attributes
    ----------
    file : str
        Name of the CSV file.
    row : int
        Row as a spreadsheet counts it: the header is row 1. 0 for a whole file.
    column : str
        Column's name; empty for a whole row or file.
    wanted, got : str
        What belongs there, and what stands there.
    """

    file: str
    row: int
    column: str
    wanted: str
    got: str

    def __str__(self) -> str:
        where = self.file
        where += f", row {self.row}" if self.row else ""
        where += f", column {self.column}" if self.column else ""
        return f"{where}: wanted {self.wanted}, got {self.got}"


class CatalogueError(ValueError):
    """A catalogue that cannot be used, with every fault found in it.

    Attributes
    ----------
    faults : tuple of Fault
        In the order of files and rows.
    """

    def __init__(self, faults: Sequence[Fault]) -> None:
        self.faults = tuple(faults)
        lines = [str(fault) for fault in self.faults[:SHOWN_FAULTS]]
        if len(self.faults) > SHOWN_FAULTS:
            lines.append(f"and {len(self.faults) - SHOWN_FAULTS} more")
        super().__init__("\n".join(lines))


class EvidenceError(ValueError):
    """Evidence that cannot be read: one line that says what, where and how to mend it."""
