"""The commands, a module each: ``add_arguments(parser)`` and ``run(**arguments) -> exit code``."""

from pathlib import Path
from typing import TYPE_CHECKING

if TYPE_CHECKING:  # ``measure`` starts without the catalogue
    from catalogue import CatalogueError


class CommandFault(Exception):  # noqa: N818 - the person's input is at fault, not the program
    """What stops a command, as one line that says what, where, and how to mend it."""


def catalogue_fault(folder: Path | None, error: "CatalogueError") -> CommandFault:
    """Return the one line that stands for a catalogue that can't be used."""
    count = "1 fault" if len(error.faults) == 1 else f"{len(error.faults)} faults, the first"
    return CommandFault(f"{folder}: {count}: {error.faults[0]}; 'whichrotor catalogue check {folder}' lists them all")
