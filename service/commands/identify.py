"""``whichrotor identify``: readings, photos and saved measurements in, packages ranked out."""

import json
import sys
from argparse import ArgumentParser
from dataclasses import replace
from pathlib import Path
from typing import Any

from catalogue import AssumptionsError, CatalogueError, EvidenceError, load_assumptions, load_catalogue, parse_json
from service.commands import CommandFault, catalogue_fault
from service.commands.photo_arguments import add_photo_arguments, measure_file, order_of, say
from service.commands.reading_arguments import add_reading_arguments, add_readings, axle_of
from service.identification_text import describe
from service.identifying import identify_wire
from service.options import PHOTO_OPTIONS, Order
from service.translate import add_measurement

Wire = dict[str, Any]


def add_arguments(parser: ArgumentParser) -> None:
    """Declare the command's arguments."""
    parser.add_argument("evidence", nargs="?", metavar="EVIDENCE.json", help="evidence as JSON; - reads standard input")
    parser.add_argument("--catalogue", type=Path, metavar="DIR", help="folder of CSV files; the demo where not given")
    parser.add_argument("--assumptions", type=Path, metavar="FILE.toml", help="assumptions that differ from the usual")
    parser.add_argument("--photo", type=Path, metavar="PHOTO", help="photo of the rotor's face")
    parser.add_argument("--edge-photo", type=Path, metavar="PHOTO", help="photo of its edge")
    parser.add_argument("--edge-reference", metavar="KIND", help="what of known size the edge photo shows")
    parser.add_argument(
        "--measurement", type=Path, action="append", default=[], metavar="FILE.json", help="what measure --json printed"
    )
    parser.add_argument("--json", action="store_true", dest="as_json", help="print the whole identification as JSON")
    add_reading_arguments(parser)
    add_photo_arguments(parser, view=False)


def run(evidence: str | None, catalogue: Path | None, as_json: bool, **arguments: Any) -> int:
    """Rank and print."""
    wire = _read_evidence_file(evidence) if evidence else {}
    axle = axle_of(wire, arguments["axle"])
    wire = add_readings(wire, axle, arguments)
    measurements = [*map(_read_measurement, arguments["measurement"]), *_measure_photos(arguments)]
    for measurement in measurements:
        wire = add_measurement(wire, axle, measurement)
    if not wire:
        raise CommandFault("nothing to go by: name an EVIDENCE.json, a --photo or a reading such as --diameter-mm 330")
    identification = _identify(wire, catalogue, arguments["assumptions"])
    identification["photos"] = [_photo_note(measurement) for measurement in measurements]
    print(json.dumps(identification, indent=1, ensure_ascii=False) if as_json else describe(identification))
    return 0


def _identify(wire: Wire, folder: Path | None, assumptions: Path | None) -> Wire:
    try:
        return identify_wire(load_catalogue(folder), wire, load_assumptions(assumptions))
    except CatalogueError as fault:
        raise catalogue_fault(folder, fault) from None
    except (EvidenceError, AssumptionsError) as fault:
        raise CommandFault(str(fault)) from None


def _measure_photos(arguments: dict[str, Any]) -> list[Wire]:
    found = []
    if arguments["photo"]:
        order = order_of({name: arguments.get(name) for name in PHOTO_OPTIONS})
        found.append(measure_file(arguments["photo"], order).measurement)
    if arguments["edge_photo"]:
        found.append(measure_file(arguments["edge_photo"], _edge_order(arguments, found)).measurement)
    for measurement in found:
        if measurement["status"] == "refused":
            say(f"{measurement['photo']}: refused, going on with what it did show; {_why(measurement)}")
    return found


def _edge_order(arguments: dict[str, Any], face: list[Wire]) -> Order:
    order = order_of(
        {"view": "edge", "reference": arguments["edge_reference"], "diameter_mm": arguments["diameter_mm"]}
    )
    diameter = face[0]["dimensions"].get("diameter_mm") if face else None
    if diameter and order.request.diameter_mm is None and order.request.reference == "auto":
        # An outline of known width is a reference; what the face photo found serves where nothing better does.
        return replace(order, request=replace(order.request, diameter_mm=diameter["value"]))
    return order


def _why(measurement: Wire) -> str:
    return " ".join(f"{reason['message']} {reason['remedy']}" for reason in measurement["reasons"])


def _photo_note(measurement: Wire) -> Wire:
    return {key: measurement.get(key) for key in ("photo", "view", "status", "reasons", "dimensions")}


def _read_evidence_file(name: str) -> Wire:
    return _read_json(sys.stdin.read(), "standard input") if name == "-" else _read_json_file(Path(name))


def _read_measurement(path: Path) -> Wire:
    measurement = _read_json_file(path)
    if measurement.get("view") not in ("face", "edge"):
        raise CommandFault(f"{path}: not a measurement; give a file that 'whichrotor measure --json' printed")
    return {"photo": path.name, "status": "measured", "reasons": [], **measurement}


def _read_json_file(path: Path) -> Wire:
    try:
        return _read_json(path.read_text(encoding="utf-8"), str(path))
    except FileNotFoundError:
        raise CommandFault(f"{path}: no such file; check the path") from None
    except UnicodeDecodeError:
        raise CommandFault(f"{path}: not a text in UTF-8; give evidence as JSON, and photos with --photo") from None
    except OSError as fault:
        raise CommandFault(f"{path}: can't be read ({fault.strerror}); name a file that may be read") from None


def _read_json(text: str, name: str) -> Wire:
    try:
        document = parse_json(text)
    except ValueError as fault:
        raise CommandFault(f"{name}: not JSON ({fault})") from None
    if not isinstance(document, dict):
        raise CommandFault(f"{name}: must hold one JSON object, not a {type(document).__name__}")
    return document
