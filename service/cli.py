"""The command line: finds the command, hands it its arguments, and turns its troubles into exit codes."""

import importlib
import os
import sys
from argparse import ArgumentParser
from collections.abc import Sequence
from typing import NoReturn, Protocol

from service.commands import CommandFault

DONE, FAULT, WRONG, REFUSED = 0, 1, 2, 3

COMMANDS = {
    "measure": "measure one photo of a rotor",
    "identify": "rank brake packages from readings, photos and saved measurements",
    "serve": "serve the web pages and the API",
    "batch": "measure and rank a spreadsheet of photos",
    "sheet": "write the printable face tags as a PDF",
    "catalogue": "check a catalogue, or list what measuring can't tell apart in it",
    "vin": "check a VIN's form and check digit",
}


class Command(Protocol):
    """What each module of ``service.commands`` offers."""

    def add_arguments(self, parser: ArgumentParser) -> None:
        """Declare the command's arguments."""

    def run(self, **arguments: object) -> int:
        """Do it and return the exit code."""


class Parser(ArgumentParser):
    """An argument parser whose complaints are one line."""

    def error(self, message: str) -> NoReturn:
        """Leave with one line on standard error."""
        self.exit(WRONG, f"{self.prog}: {message}; see '{self.prog} --help'\n")


def main(arguments: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code; ``arguments`` are those of the process where not given."""
    words = list(sys.argv[1:] if arguments is None else arguments)
    name = words[0] if words else ""
    if name not in COMMANDS:
        _overview().parse_args(words)
        return WRONG  # not reached: parse_args leaves
    command = importlib.import_module(f"service.commands.{name}")
    parser = Parser(prog=f"whichrotor {name}", description=_sentence(COMMANDS[name]), allow_abbrev=False)
    command.add_arguments(parser)
    return _run(name, command, vars(parser.parse_args(words[1:])))


def _run(name: str, command: Command, arguments: dict[str, object]) -> int:
    try:
        code = command.run(**arguments)
        sys.stdout.flush()
    except CommandFault as fault:
        print(f"whichrotor {name}: {fault}", file=sys.stderr)
        return WRONG
    except BrokenPipeError:  # the reader of a pipe had enough
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return DONE
    except KeyboardInterrupt:
        return 130
    return code


def _overview() -> ArgumentParser:
    parser = Parser(
        prog="whichrotor",
        description="Which brake package is this? A rotor measured from a photo, packages ranked, what may be ordered.",
        epilog="Each command has its own --help.",
        allow_abbrev=False,
    )
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", required=True)
    for name, what in COMMANDS.items():
        commands.add_parser(name, help=what, add_help=False)
    return parser


def _sentence(words: str) -> str:
    return words[0].upper() + words[1:] + "."


if __name__ == "__main__":
    sys.exit(main())
