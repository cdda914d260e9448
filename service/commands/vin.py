"""``whichrotor vin``: a VIN's form, its check digit, and what may have been misheard."""

import json
from argparse import ArgumentParser

from catalogue.vin import VinReport, examine_vin

SHOWN_MISHEARINGS = 12


def add_arguments(parser: ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument("vin", metavar="VIN", help="seventeen characters; spaces and dashes are dropped")
    parser.add_argument("--json", action="store_true", dest="as_json", help="print the whole answer as JSON")


def run(vin: str, as_json: bool) -> int:
    """Look at it and print; 2 where it is not well formed."""
    report = examine_vin(vin)
    print(json.dumps(report.to_json(), indent=1, ensure_ascii=False) if as_json else _describe(report))
    return 0 if report.well_formed else 2


def _describe(report: VinReport) -> str:
    lines = [f"{report.vin}: {'well formed' if report.well_formed else 'not a VIN as it stands'}"]
    lines += [f"  fault: {fault}" for fault in report.faults]
    lines += [f"  notice: {notice}" for notice in report.notices]
    lines += [f"  may be {slip.vin}: {slip.text}" for slip in report.mishearings[:SHOWN_MISHEARINGS]]
    if len(report.mishearings) > SHOWN_MISHEARINGS:
        lines.append(f"  and {len(report.mishearings) - SHOWN_MISHEARINGS} more")
    return "\n".join(lines)
