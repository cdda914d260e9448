"""A vehicle number read back: in groups, spelt out, with what may be wrong in it and what may have been meant."""

from collections.abc import Sequence
from dataclasses import dataclass

from catalogue.vin import VinReport, examine_vin

_WORDS = (
    "Alfa Bravo Charlie Delta Echo Foxtrot Golf Hotel India Juliett Kilo Lima Mike November Oscar Papa Quebec "
    "Romeo Sierra Tango Uniform Victor Whiskey X-ray Yankee Zulu"
)  # the alphabet of ICAO Annex 10, volume II, from memory
SPELLING = {word[0]: word for word in _WORDS.split()}


@dataclass(frozen=True)
class ReadBack:
    """A vehicle number as it is read back.

    Attributes
    ----------
    report : VinReport
    groups : sequence of str
        The number in groups that an ear keeps.
    spoken : sequence of str
        A word for each letter; digits as they are.
    """

    report: VinReport
    groups: Sequence[str]
    spoken: Sequence[str]


def read_back(text: str) -> ReadBack:
    """Return what is read back of a vehicle number as it was typed or heard."""
    report = examine_vin(text)
    vin = report.vin
    return ReadBack(
        report,
        groups=[group for group in (vin[:3], vin[3:8], vin[8:9], vin[9:11], vin[11:]) if group],
        spoken=[SPELLING.get(character, character) for character in vin],
    )


def is_said_anew(before: str, now: str) -> bool:
    """Whether ``now`` is another vehicle number than the one read back before."""
    return bool(now.strip()) and examine_vin(now).vin != examine_vin(before).vin
