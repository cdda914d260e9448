"""Care notes that come with the parts they belong to.

All of them are common practice of the trade, in our own words; the maker's instructions prevail.
"""

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

CUT_SURFACES = frozenset({"slotted", "drilled", "dimpled", "drilled+slotted", "dimpled+slotted"})
"""Faces with slots, holes or dimples."""

CAUTIONS = (
    "This is an aid, not an instruction: the maker's data and the marking on the part prevail.",
    "Work on brakes is for qualified people; local rules on parts, disposal and road use apply.",
    "Thickness left is not fitness for use: cracks, heat marks, pitting and run-out are for a person to look at.",
    "Renew rotors and pads in pairs, both wheels of an axle.",
)
"""What every sheet says."""


@dataclass(frozen=True, slots=True)
class CareSubject:
    """What is known of one axle's brake; None is not known.

    Attributes
    ----------
    mount : {"floating", "fixed"} or None
    parking_brake : {"none", "drum-in-hat", "cable", "electric"} or None
    wear_sensor : bool or None
        Whether the pads carry a sensor or a sensor comes along with them.
    surface : str or None
        One of the six kinds.
    material : {"iron", "coated", "carbon-ceramic"} or None
    ordered : frozenset of {"rotor", "pads"}
        What is about to be ordered.
    """

    mount: str | None = None
    parking_brake: str | None = None
    wear_sensor: bool | None = None
    surface: str | None = None
    material: str | None = None
    ordered: frozenset[str] = frozenset()


@dataclass(frozen=True, slots=True)
class CareNote:
    """One note.

    Attributes
    ----------
    code : str
        Short name, unique in the table.
    about : str
        The part that it belongs to: caliper, hose, pipe, pads, rotor, wheel.
    text : str
        A sentence or two for the person at the car.
    """

    code: str
    about: str
    text: str

    def to_json(self) -> dict[str, Any]:
        """Return the wire form."""
        return {"code": self.code, "about": self.about, "text": self.text}


def care_notes(subject: CareSubject) -> tuple[CareNote, ...]:
    """Return the notes that belong to one axle's brake, in the order of the work.

    Parameters
    ----------
    subject : CareSubject
        What is known; a note whose condition is not known to hold is left out.

    Returns
    -------
    tuple of CareNote
        Never empty: hoses, pipes and the wheel-speed sensor are on every car.
    """
    return tuple(note for applies, note in _TABLE if applies(subject))


def _always(_: CareSubject) -> bool:
    return True


_TABLE: tuple[tuple[Callable[[CareSubject], bool], CareNote], ...] = (
    (
        lambda subject: subject.wear_sensor is True,
        CareNote(
            "wear-sensor",
            "pads",
            "Trace the wear sensor's cable to its plug and unplug it before the pads come out; "
            "clip the new one along the same way.",
        ),
    ),
    (
        lambda subject: subject.parking_brake == "electric",
        CareNote(
            "electric-parking-brake",
            "caliper",
            "The rear caliper has a motor: bring it into service mode with a scan tool, and only then push "
            "the piston back. Forcing it breaks the spindle.",
        ),
    ),
    (
        lambda subject: subject.parking_brake == "cable",
        CareNote(
            "cable-parking-brake",
            "caliper",
            "The piston carries the parking brake's thread: turn it back with the fitting tool, "
            "do not press it; then set the cable.",
        ),
    ),
    (
        lambda subject: subject.parking_brake == "drum-in-hat",
        CareNote(
            "drum-in-hat",
            "rotor",
            "Shoes sit inside the hat: slacken their adjuster before the rotor comes off, set it afterwards. "
            "A drum diameter cast there is no minimum thickness.",
        ),
    ),
    (
        lambda subject: subject.mount == "floating",
        CareNote(
            "floating-pins",
            "caliper",
            "A floating caliper lives by the lubricant on the pins in its bracket: silicone-based paste made for "
            "brakes, boots whole, pins sliding freely by hand. A pin that stays seized means a new bracket.",
        ),
    ),
    (
        _always,
        CareNote(
            "hoses",
            "hose",
            "A hose can close up inside and hold the pressure like a check valve: the wheel goes on dragging after "
            "the pedal is let go. Renew hoses in pairs at least.",
        ),
    ),
    (
        _always,
        CareNote(
            "pipe-nut",
            "pipe",
            "A pipe nut that turns the pipe with it, or a bleed screw that is seized, is a reason to stop, "
            "not to pull harder.",
        ),
    ),
    (
        _always,
        CareNote(
            "wheel-speed",
            "wheel",
            "A wheel-speed fault that shows after the job may come from the wheel bearing, not from the brake.",
        ),
    ),
    (
        lambda subject: "rotor" in subject.ordered or "pads" in subject.ordered,
        CareNote(
            "together",
            "rotor",
            "Once the rotor has a lip, pads and rotors are renewed together: new pads ride on the lip, "
            "and a new rotor needs flat pads.",
        ),
    ),
    (
        lambda subject: subject.surface in CUT_SURFACES,
        CareNote(
            "not-machined",
            "rotor",
            "A face with slots, holes or dimples is not machined: it is renewed at its limit.",
        ),
    ),
    (
        lambda subject: subject.material == "carbon-ceramic",
        CareNote(
            "ceramic",
            "rotor",
            "A carbon-ceramic ring is judged by its maker's wear marks or mass, not by thickness alone; "
            "a chipped edge is a reason to renew it.",
        ),
    ),
)
