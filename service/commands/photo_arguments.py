"""The arguments that describe a photo, shared by ``measure`` and ``identify``."""

import sys
from argparse import ArgumentParser
from collections.abc import Mapping
from pathlib import Path

from service.commands import CommandFault
from service.measuring import Measured, PhotoFault, measure
from service.options import CHOICES, LENGTHS, OptionError, Order, parse_order
from vision.references.parse import WANTED


def add_photo_arguments(parser: ArgumentParser, *, view: bool = True) -> None:
    """Declare measure's options; lengths and words stay texts, read by ``parse_order``."""
    group = parser.add_argument_group("the photo")
    if view:
        group.add_argument("--view", choices=CHOICES["view"], help="what it shows; face where not said")
    group.add_argument("--reference", metavar="KIND", help=WANTED)
    group.add_argument("--lies", choices=CHOICES["lies"], help="where the reference lies")
    group.add_argument("--hat", choices=CHOICES["hat"], help="which way the hat points")
    for name, what in LENGTHS.items():
        group.add_argument("--" + name.replace("_", "-"), metavar="MM", help=what)
    group.add_argument("--rim", metavar="'X,Y X,Y …'", help="points on the rim, pixels of the photo as displayed")
    group.add_argument(
        "--reference-points", metavar="'X,Y X,Y …'", help="the reference's corners, or points on a coin's edge"
    )


def order_of(arguments: Mapping[str, object]) -> Order:
    """Return the order that the arguments spell.

    Raises
    ------
    CommandFault
        For an option that can't be followed.
    """
    texts = {name: str(value) for name, value in arguments.items() if value is not None}
    try:
        return parse_order(texts)
    except OptionError as fault:
        raise CommandFault(_as_option(str(fault))) from None


def measure_file(path: Path, order: Order, *, overlay: Path | None = None) -> Measured:
    """Measure one file and write the overlay where asked for.

    Raises
    ------
    CommandFault
        For a file that can't be read, decoded or written.
    """
    try:
        measured = measure(path, path.name, order, overlay=overlay is not None)
    except PhotoFault as fault:
        raise CommandFault(str(fault)) from None
    if overlay is not None and measured.overlay_png is not None:
        write_file(overlay, measured.overlay_png)
    return measured


def write_file(path: Path, content: bytes) -> None:
    """Write a whole file, or nothing.

    Raises
    ------
    CommandFault
        Where it can't be written.
    """
    part = path.with_name(path.name + ".part")
    try:
        part.write_bytes(content)
        part.replace(path)
    except OSError as fault:
        part.unlink(missing_ok=True) if part.parent.is_dir() else None
        raise CommandFault(
            f"{path} can't be written ({fault.strerror}); name a folder that exists and is yours"
        ) from None


def say(line: str) -> None:
    """Tell the person something that is not the result."""
    print(line, file=sys.stderr)


def _as_option(message: str) -> str:
    name, _, rest = message.partition(" ")
    return f"--{name.replace('_', '-')} {rest}"
