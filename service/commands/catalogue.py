"""``whichrotor catalogue``: every fault of a catalogue, and what measuring can't tell apart in it."""

import json
from argparse import ArgumentParser
from pathlib import Path

from catalogue import Catalogue, CatalogueError, load_catalogue
from catalogue.contradictions import contradictions
from catalogue.overlaps import overlaps
from service.commands import CommandFault, catalogue_fault


def add_arguments(parser: ArgumentParser) -> None:
    """Declare the command's arguments."""
    commands = parser.add_subparsers(title="commands", metavar="COMMAND", dest="what", required=True)
    check = commands.add_parser("check", help="validate a catalogue; every fault with file, row and column")
    check.add_argument("folder", type=Path, metavar="DIR", help="folder of CSV files")
    overlap = commands.add_parser("overlaps", help="list what measuring can't tell apart in a catalogue")
    overlap.add_argument("folder", type=Path, metavar="DIR", help="folder of CSV files")
    overlap.add_argument("--json", action="store_true", dest="as_json", help="print the list as JSON")


def run(what: str, folder: Path, as_json: bool = False) -> int:
    """Do the one or the other."""
    return _check(folder) if what == "check" else _list_overlaps(folder, as_json)


def _check(folder: Path) -> int:
    try:
        catalogue = load_catalogue(_existing(folder))
    except CatalogueError as error:
        print("\n".join(map(str, error.faults)))
        print(f"{folder}: {len(error.faults)} {'fault' if len(error.faults) == 1 else 'faults'}")
        return 2
    for notice in catalogue.notices:
        print(f"notice: {notice}")
    for contradiction in contradictions(catalogue):
        print(f"odd: {contradiction}")
    print(f"{folder}: no fault; {_size(catalogue)}")
    return 0


def _list_overlaps(folder: Path, as_json: bool) -> int:
    try:
        found = overlaps(load_catalogue(_existing(folder)))
    except CatalogueError as error:
        raise catalogue_fault(folder, error) from None
    print(json.dumps(found.to_json(), indent=1, ensure_ascii=False) if as_json else found.to_text())
    return 0


def _existing(folder: Path) -> Path:
    if not folder.is_dir():
        raise CommandFault(f"{folder}: no such folder; name the folder that holds the catalogue's CSV files")
    return folder


def _size(catalogue: Catalogue) -> str:
    counts = catalogue.to_json()["counts"]
    return ", ".join(f"{count} {what}" for what, count in counts.items())
