"""Care notes come with the parts they belong to, and only with those."""

import itertools

import pytest

from catalogue.care import CUT_SURFACES, CareSubject, care_notes

ON_EVERY_CAR = {"hoses", "pipe-nut", "wheel-speed"}


def codes(subject: CareSubject) -> set[str]:
    return {note.code for note in care_notes(subject)}


def test_what_is_not_known_brings_no_note() -> None:
    assert codes(CareSubject()) == ON_EVERY_CAR


@pytest.mark.parametrize(
    ("subject", "code"),
    [
        (CareSubject(mount="floating"), "floating-pins"),
        (CareSubject(parking_brake="electric"), "electric-parking-brake"),
        (CareSubject(parking_brake="cable"), "cable-parking-brake"),
        (CareSubject(parking_brake="drum-in-hat"), "drum-in-hat"),
        (CareSubject(wear_sensor=True), "wear-sensor"),
        (CareSubject(material="carbon-ceramic"), "ceramic"),
        (CareSubject(ordered=frozenset({"pads"})), "together"),
        (CareSubject(ordered=frozenset({"rotor"})), "together"),
        *((CareSubject(surface=surface), "not-machined") for surface in sorted(CUT_SURFACES)),
    ],
)
def test_each_note_comes_with_its_part_alone(subject: CareSubject, code: str) -> None:
    assert codes(subject) == ON_EVERY_CAR | {code}


@pytest.mark.parametrize(
    "subject",
    [
        CareSubject(mount="fixed"),
        CareSubject(parking_brake="none"),
        CareSubject(wear_sensor=False),
        CareSubject(surface="plain"),
        CareSubject(material="iron"),
    ],
)
def test_the_opposite_brings_no_note(subject: CareSubject) -> None:
    assert codes(subject) == ON_EVERY_CAR


def test_the_notes_say_what_practice_asks() -> None:
    subject = CareSubject("floating", "electric", True, "slotted", "iron", frozenset({"rotor"}))
    texts = {note.code: note.text for note in care_notes(subject)}
    for code, word in {
        "floating-pins": "silicone-based",
        "electric-parking-brake": "scan tool",
        "wear-sensor": "plug",
        "hoses": "pairs",
        "pipe-nut": "stop",
        "wheel-speed": "bearing",
        "together": "lip",
        "not-machined": "not machined",
    }.items():
        assert word in texts[code]


def test_codes_are_unique_on_any_car() -> None:
    for mount, brake in itertools.product(("floating", "fixed"), ("cable", "electric", "drum-in-hat")):
        notes = care_notes(CareSubject(mount, brake, True, "drilled", "carbon-ceramic", frozenset({"pads"})))
        assert len({note.code for note in notes}) == len(notes)
