"""``whichrotor sheet``: the printable face tags."""

from argparse import ArgumentParser
from pathlib import Path

from service.commands.photo_arguments import say, write_file
from service.sheet import PAPERS, Paper, tag_sheet


def add_arguments(parser: ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument("out", type=Path, metavar="OUT.pdf", help="the PDF to write")
    parser.add_argument("--paper", choices=tuple(PAPERS), default="a4", help="a4 where not given")


def run(out: Path, paper: Paper) -> int:
    """Write the sheet."""
    write_file(out, tag_sheet(paper))
    say(f"Wrote {out}. Print it at 100 % and measure its check bar: 100 mm.")
    return 0
