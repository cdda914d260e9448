"""A vehicle identification number's form and check digit, and what may have been misheard in it.

A number is looked at, never decoded: what a car left the factory with stands in its build record, not in these
seventeen characters.
"""

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Literal

LENGTH = 17
CHECK_POSITION = 8
"""Index of the check digit: the ninth character (49 CFR 565.13, 565.15)."""

SERIAL_FROM = 13
"""Index of the last four characters, digits in a passenger car's number (ISO 3779, from memory)."""

WEIGHTS = (8, 7, 6, 5, 4, 3, 2, 10, 0, 9, 8, 7, 6, 5, 4, 3, 2)
"""Weight of each position (49 CFR 565.15(c))."""

VALUES = {**{str(digit): digit for digit in range(10)}, **dict(zip("ABCDEFGH", range(1, 9), strict=True))}
VALUES |= dict(zip("JKLMNPR", (1, 2, 3, 4, 5, 7, 9), strict=True))
VALUES |= dict(zip("STUVWXYZ", range(2, 10), strict=True))
"""Value of each character (49 CFR 565.15(c), table of assigned values); I, O and Q have none."""

NEVER_USED = {"I": "1", "O": "0", "Q": "0"}
"""Letters that no number holds, and the digit that was heard or read as one of them."""

MUST_CHECK = frozenset("12345L")
"""First characters of the regions where the check digit is the law: North America and China. Elsewhere the ninth
place is often a filler."""

NEVER_A_YEAR = frozenset("UZ0")
"""Not to be found in the tenth place where the check digit is the law (49 CFR 565.15(d), table of years)."""

SOUND_ALIKE = ("BDEGPTV3", "CZ", "CT", "AHJK8", "AE", "FSX", "MN", "59", "5F", "9N", "GJ", "U2", "Y5", "KT", "KH")
"""Groups that are taken for each other on the phone; common practice: the letters named with one vowel."""

LOOK_ALIKE = ("S5", "B8", "Z2", "G6", "D0", "L1", "UV", "T7", "38", "17", "VY")
"""Groups that are taken for each other on a plate or in handwriting; common practice."""

Slip = Literal["sounds alike", "looks alike", "swapped", "never used"]
_SLIPS: tuple[Slip, ...] = ("never used", "sounds alike", "looks alike", "swapped")


@dataclass(frozen=True, slots=True)
class Mishearing:
    """A number that may have been meant.

    Attributes
    ----------
    vin : str
        The number as it would read.
    kind : {"sounds alike", "looks alike", "swapped", "never used"}
        What may have gone wrong.
    text : str
        The same for a person: place, heard, meant.
    """

    vin: str
    kind: Slip
    text: str

    def to_json(self) -> dict[str, str]:
        """Return the wire form."""
        return {"vin": self.vin, "kind": self.kind, "text": self.text}


@dataclass(frozen=True, slots=True)
class VinReport:
    """What can be said of a number without any record.

    Attributes
    ----------
    vin : str
        The number in capitals, without spaces, dots and dashes.
    faults : tuple of str
        Why it cannot be a number; empty where it is well formed.
    notices : tuple of str
        What is odd without being wrong.
    check_digit : str or None
        The ninth character that the others call for; None where they cannot be added up.
    mishearings : tuple of Mishearing
        What may have been meant, likeliest first.
    """

    vin: str
    faults: tuple[str, ...]
    notices: tuple[str, ...]
    check_digit: str | None
    mishearings: tuple[Mishearing, ...]

    @property
    def well_formed(self) -> bool:
        """Whether nothing is wrong with it; a notice is not a fault."""
        return not self.faults

    def to_json(self) -> dict[str, Any]:
        """Return the wire form."""
        return {
            "vin": self.vin,
            "well_formed": self.well_formed,
            "check_digit": self.check_digit,
            "faults": list(self.faults),
            "notices": list(self.notices),
            "mishearings": [mishearing.to_json() for mishearing in self.mishearings],
        }


def examine_vin(text: str) -> VinReport:
    """Look at a vehicle identification number's form and check digit.

    Parameters
    ----------
    text : str
        The number as typed or heard; spaces, dots and dashes are dropped, small letters taken as capitals.

    Returns
    -------
    VinReport
        A bad number is an answer, not an error.

    References
    ----------
    49 CFR 565.13 and 565.15 (length, characters, check digit); ISO 3779 (form).
    """
    vin = re.sub(r"[\s.\-]", "", text).upper()
    fault = _form_fault(vin)
    if fault is not None:
        return VinReport(vin, (fault,), (), None, tuple(_without_never_used(vin)))
    digit = check_digit(vin)
    if vin[CHECK_POSITION] == digit:
        return VinReport(vin, (), (), digit, ())
    wrong = f"check digit: the ninth character is {vin[CHECK_POSITION]}, the others call for {digit}"
    if vin[0] not in MUST_CHECK:
        notice = f"{wrong}; no fault where the number starts with {vin[0]}: many makers there put a filler in its place"
        return VinReport(vin, (), (notice,), digit, ())
    fault = f"{wrong}; one of the seventeen was misheard or mistyped: have it read out once more, letter by letter"
    return VinReport(vin, (fault,), (), digit, tuple(_slips(vin)))


def check_digit(vin: str) -> str:
    """Return the ninth character that the other sixteen call for.

    Parameters
    ----------
    vin : str
        Seventeen characters without I, O and Q; the ninth has weight 0.

    Raises
    ------
    ValueError
        For another length or a character without a value.

    References
    ----------
    49 CFR 565.15(c): values times weights, the sum modulo 11, ten written X.
    """
    if len(vin) != LENGTH or not VALUES.keys() >= set(vin):
        raise ValueError(f"a VIN has {LENGTH} of the characters 0-9 and A-Z without I, O, Q; got {vin!r}")
    remainder = sum(VALUES[character] * weight for character, weight in zip(vin, WEIGHTS, strict=True)) % 11
    return "X" if remainder == 10 else str(remainder)


def _form_fault(vin: str) -> str | None:
    """Return what is wrong with the number's form, or None."""
    strange = sorted(set(vin) - VALUES.keys() - NEVER_USED.keys())
    if strange:
        return f"characters: {' '.join(strange)} cannot stand in a VIN; it has digits and capitals only"
    if len(vin) != LENGTH:
        return f"length: {len(vin)} characters, a VIN has {LENGTH} (cars built before 1981 may have fewer)"
    unused = sorted(set(vin) & NEVER_USED.keys())
    if unused:
        meant = ", ".join(f"{letter} is probably {NEVER_USED[letter]}" for letter in unused)
        return f"letters: I, O and Q are never used in a VIN; {meant}"
    return None


def _without_never_used(vin: str) -> Iterator[Mishearing]:
    """Yield what a number with I, O or Q may mean: the digits for them, and one slip more where that does not check."""
    meant = "".join(NEVER_USED.get(character, character) for character in vin)
    if meant == vin or len(meant) != LENGTH or not VALUES.keys() >= set(meant):
        return
    text = "digits for the letters that are never used"
    if meant[0] not in MUST_CHECK or meant[CHECK_POSITION] == check_digit(meant):
        yield Mishearing(meant, "never used", text)
        return
    for slip in _slips(meant):
        yield Mishearing(slip.vin, slip.kind, f"{text}, and {slip.text}")


def _slips(vin: str) -> list[Mishearing]:
    """Return the numbers one slip away whose check digit is right, likeliest kind first."""
    found = [*_substituted(vin), *_swapped(vin)]
    return sorted((slip for slip in found if _possible(vin, slip.vin)), key=lambda slip: _SLIPS.index(slip.kind))


def _substituted(vin: str) -> Iterator[Mishearing]:
    for place, heard in enumerate(vin):
        sounds = _taken_for(heard, SOUND_ALIKE)
        for meant in sorted(sounds | _taken_for(heard, LOOK_ALIKE)):
            kind: Slip = "sounds alike" if meant in sounds else "looks alike"
            yield Mishearing(
                vin[:place] + meant + vin[place + 1 :], kind, f"place {place + 1}: {meant} {kind} with {heard}"
            )


def _swapped(vin: str) -> Iterator[Mishearing]:
    for place in range(LENGTH - 1):
        first, second = vin[place], vin[place + 1]
        if first != second:
            other = vin[:place] + second + first + vin[place + 2 :]
            yield Mishearing(
                other, "swapped", f"places {place + 1} and {place + 2}: {first}{second} for {second}{first}"
            )


def _taken_for(heard: str, groups: tuple[str, ...]) -> set[str]:
    return {meant for group in groups if heard in group for meant in group} - {heard}


def _possible(vin: str, other: str) -> bool:
    """Whether the other number checks and puts nothing where it cannot stand."""
    new_letters = any(
        new.isalpha() and not old.isalpha() for old, new in zip(vin[SERIAL_FROM:], other[SERIAL_FROM:], strict=True)
    )
    return (
        other[0] in MUST_CHECK
        and other[CHECK_POSITION] == check_digit(other)
        and other[CHECK_POSITION + 1] not in NEVER_A_YEAR
        and not new_letters
    )
