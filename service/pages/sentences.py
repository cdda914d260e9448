"""Sentences of the catalogue and of a photo, with every length in the reader's unit."""

import re
from collections.abc import Mapping
from typing import Any

from catalogue import plain_name
from catalogue.units import MM_PER_INCH
from service.pages.lengths import Unit
from service.pages.questions import QUESTIONS, evidence_words, question_of

Wire = dict[str, Any]
_NUMBER = r"\d+(?:\.\d+)?"
_JOINED = rf"(?P<first>{_NUMBER})(?P<join> (?:to|or|x|±) )?(?(join)(?P<second>{_NUMBER}))"
_TOLD = re.compile(rf"{_JOINED} (?P<unit>mm|cm)\b")
# A number that stands free: no part number, no share, nothing that is counted or weighed, no ratio.
_BARE = re.compile(
    rf"(?<![\w.\-/])(?<!over diameter ){_JOINED}"
    rf"(?![\w\-]|\.\d|\s?%| (?:mm|cm|kg|in|inch|bolt|bits)\b| (?:to|or|x|±) {_NUMBER} (?:mm|cm)\b)"
)
_LENGTHS = [key for key, question in QUESTIONS.items() if question.kind == "length"]
_NAMES = "|".join(map(plain_name, _LENGTHS))
_IN_BRACKETS = re.compile(rf"\b(?P<name>{_NAMES}) \((?P<told>[^()]*)\)")
_AFTER_NAME = re.compile(rf"\b(?P<name>{_NAMES}) (?P<told>{_NUMBER} ± {_NUMBER})(?![\d.]| (?:mm|cm)\b)")
_KEY = re.compile(r"\b[a-z]+(?:_[a-z]+)+\b")
_SENTENCES = ("message", "text", "how", "why", "note")
_LISTS = ("cautions", "open")


def in_unit(text: str, unit: Unit, *, decimals: int = 3) -> str:
    """Return ``text`` with the millimetres and centimetres that it names in ``unit``.

    >>> in_unit("330.1 ± 0.3 mm against 330 mm", "in")
    '12.996 ± 0.012 in against 12.992 in'
    """
    if unit == "mm":
        return text
    return _TOLD.sub(lambda found: f"{_joined(found, decimals)} in", text)


def with_units(identification: Wire) -> Wire:
    """Return an identification for a page: in its sentences each length has its unit, and keys are words.

    The catalogue's reasons leave the unit out where a reading's name tells it; a page shows them without that name.
    """
    whys = [why for row in identification["candidates"] for why in row.get("why") or ()]
    told = {why["text"]: _name_units(why["text"]) for why in whys if _is_length(why["evidence"])}
    told = {text: named for text, named in told.items() if named != text}
    found: Wire = _walk(identification, told)
    return found


def _joined(found: re.Match[str], decimals: int) -> str:
    # What is told in centimetres is told roughly.
    factor, places = (1.0, decimals) if found["unit"] == "mm" else (10.0, 0)
    first = f"{float(found['first']) * factor / MM_PER_INCH:.{places}f}"
    if not found["join"]:
        return first
    return f"{first}{found['join']}{float(found['second']) * factor / MM_PER_INCH:.{places}f}"


def _is_length(evidence: str) -> bool:
    return evidence.endswith("_mm") or evidence == "measurements"


def _name_units(text: str) -> str:
    return _BARE.sub(lambda found: f"{found[0]} mm", text)


def _walk(value: Any, told: Mapping[str, str], *, is_sentence: bool = False) -> Any:
    """Return a copy of a document whose sentences name their units."""
    match value:
        case dict():
            return {
                key: _walk(each, told, is_sentence=key in _SENTENCES or (key in _LISTS and isinstance(each, list)))
                for key, each in value.items()
            }
        case list() | tuple():
            return [_walk(each, told, is_sentence=is_sentence) for each in value]
        case str() if is_sentence:
            return _sentence(value, told)
    return value


def _sentence(text: str, told: Mapping[str, str]) -> str:
    """Name the units of one sentence: of the reasons that it quotes, else of all its lengths once it names one."""
    quoted = [reason for reason in told if reason in text]
    for reason in sorted(quoted, key=len, reverse=True):
        text = text.replace(reason, told[reason])
    if not quoted and (_TOLD.search(text) or _KEY.search(text)):
        text = _name_units(text)
    text = _AFTER_NAME.sub(lambda found: f"{found['name']} {found['told']} mm", text)
    text = _IN_BRACKETS.sub(lambda found: f"{found['name']} ({_name_units(found['told'])})", text)
    return _KEY.sub(_words, text)


def _words(key: re.Match[str]) -> str:
    return f"“{evidence_words(key[0])}”" if question_of(key[0]) else key[0]
