"""The arguments of ``identify`` that stand for readings and answers, so that no JSON need be written."""

from argparse import ArgumentParser
from collections.abc import Mapping
from typing import Any

from service.commands import CommandFault

AXLES = ("front", "rear", "unknown")
PARTS = ("rotor", "pads")
SHARED_LENGTHS = ("diameter_mm", "thickness_mm", "height_mm")  # declared with the photo, which they are told too
_LENGTHS = {
    "centre_bore_mm": "centre bore",
    "bolt_circle_mm": "bolt circle",
    "ring_inner_mm": "inner diameter of the friction ring",
    "hat_mm": "hat's diameter",
    "circumference_mm": "a tape round the rim",
    "pad_height_mm": "pad's height",
    "pad_length_mm": "pad's length",
    "min_thickness_mark_mm": "minimum thickness marked on the part",
}
_NUMBERS = {
    "mass_kg": "rotor's mass, kg",
    "wheel_in": "wheel's diameter from the tyre wall, inches",
    "bolt_count": "bolt holes",
    "pistons": "pistons of the caliper",
}
_WORDS = {
    "thickness_over": "swept, lip or unknown: where the jaws rested",
    "condition": "new, used or unknown",
    "mark_kind": "discard, machine-to or unknown: what the marked minimum is",
    "rotor_mark": "number read off the rotor",
    "pad_mark": "number read off the pad",
    "pad_shape_number": "pad's shape number",
    "surface": "plain, slotted, drilled, dimpled, drilled+slotted or dimpled+slotted",
    "construction": "one-piece or two-piece",
    "ventilation": "vented or solid",
    "caliper_mount": "floating or fixed",
    "parking_brake": "none, drum-in-hat, cable or electric",
    "caliper_colour": "accepted, never weighed",
}
READINGS = (*SHARED_LENGTHS, *_LENGTHS, *_NUMBERS, *_WORDS)


def add_reading_arguments(parser: ArgumentParser) -> None:
    """Declare the vehicle's arguments and one axle's readings."""
    car = parser.add_argument_group("the car")
    car.add_argument("--line", help="maker's line as the catalogue has it")
    car.add_argument("--model", help="model as the catalogue has it")
    car.add_argument("--year", type=int, help="model year")
    car.add_argument("--built", metavar="YYYY-MM", help="month of build")
    car.add_argument("--option-code", action="append", metavar="CODE", help="from the build record; may be repeated")
    car.add_argument("--vin", help="checked for form, never decoded")
    car.add_argument("--wanted", action="append", metavar="AXLE:PART", help="such as front:pads; may be repeated")
    axle = parser.add_argument_group("readings of one axle")
    axle.add_argument("--axle", choices=AXLES, help="the axle that photos and readings are of")
    for name, what in (_LENGTHS | _NUMBERS).items():
        axle.add_argument(_flag(name), metavar="MM" if name in _LENGTHS else "N", help=what)
    for name, what in _WORDS.items():
        axle.add_argument(_flag(name), metavar="WORD", help=what)


def axle_of(evidence: Mapping[str, Any], told: str | None) -> str:
    """Return the axle that photos and flags are of: the one told, else the evidence's only one, else unknown."""
    axles = list(evidence.get("axles") or {})
    return told or (axles[0] if len(axles) == 1 else "unknown")


def add_readings(evidence: Mapping[str, Any], axle: str, arguments: Mapping[str, Any]) -> dict[str, Any]:
    """Return ``evidence`` with what the arguments say added; an argument overrules a reading of the same name.

    Raises
    ------
    CommandFault
        For a ``--wanted`` that names no axle and part.
    """
    added: dict[str, Any] = dict(evidence)
    vehicle = _said(arguments, ("line", "model", "year", "built"))
    if vehicle:
        added["vehicle"] = {**(evidence.get("vehicle") or {}), **vehicle}
    if arguments.get("option_code"):
        added["option_codes"] = [*(evidence.get("option_codes") or []), *arguments["option_code"]]
    if arguments.get("vin"):
        added["vin"] = arguments["vin"]
    if arguments.get("wanted"):
        added["wanted"] = [_wanted(text) for text in arguments["wanted"]]
    readings = {name: _number_or_text(value) for name, value in _said(arguments, READINGS).items()}
    if readings:
        axles = dict(evidence.get("axles") or {})
        axles[axle] = {**(axles.get(axle) or {}), **readings}
        added["axles"] = axles
    return added


def _said(arguments: Mapping[str, Any], names: tuple[str, ...]) -> dict[str, Any]:
    return {name: arguments[name] for name in names if arguments.get(name) is not None}


def _number_or_text(value: Any) -> Any:
    # "13 in" and "317mm" are lengths as well; the catalogue reads those.
    try:
        number = float(value)
    except ValueError:
        return value
    return int(number) if number.is_integer() else number


def _wanted(text: str) -> dict[str, str]:
    axle, _, part = text.partition(":")
    if axle not in AXLES[:2] or part not in PARTS:
        raise CommandFault(
            f"--wanted must be front or rear, a colon, and rotor or pads, such as front:pads; not {text!r}"
        )
    return {"axle": axle, "part": part}


def _flag(name: str) -> str:
    return "--" + name.replace("_", "-")
