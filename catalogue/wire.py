"""Small readers of JSON values, each of which says in one line what is wrong and where."""

import re
from collections.abc import Collection, Mapping
from typing import Any

from catalogue.faults import EvidenceError

LARGEST = 1e12
"""A number beyond this is a slip of whatever wrote it."""

SUM_TOLERANCE = 0.03
"""A table of six probabilities rounded to two places may miss 1 by so much."""

SHOWN = 60
"""So many characters of a wrong value are shown."""

_SURROGATE = re.compile(r"[\ud800-\udfff]")
"""Half a character, which JSON can escape and no encoding can write."""


def read_object(value: Any, where: str) -> dict[str, Any]:
    """Return an object without its nulls, which mean the same as absent."""
    if not isinstance(value, Mapping):
        raise EvidenceError(f"{where}: wanted an object with keys, got {_shown(value)}")
    return {str(key): each for key, each in value.items() if each is not None}


def refuse_unknown_keys(value: Mapping[str, Any], known: Collection[str], where: str) -> None:
    """Raise for a key that is not ``known``."""
    for key in value:
        if key not in known:
            named = key if key.isprintable() and len(key) <= SHOWN else _shown(key)
            place = f"{where}.{named}" if where else named
            raise EvidenceError(f"{place}: unknown key; known are {', '.join(sorted(known))}")


def read_list(value: Any, where: str) -> list[Any]:
    """Return a list."""
    if not isinstance(value, list | tuple):
        raise EvidenceError(f"{where}: wanted a list, got {_shown(value)}")
    return list(value)


def read_text(value: Any, where: str) -> str:
    """Return a text that is not blank, and that can be written down again."""
    if not isinstance(value, str) or not value.strip() or _SURROGATE.search(value):
        raise EvidenceError(f"{where}: wanted a text, got {_shown(value)}")
    return value.strip()


def read_word(value: Any, words: Collection[str], where: str) -> str:
    """Return one of ``words``."""
    if not isinstance(value, str) or value not in words:
        raise EvidenceError(f"{where}: wanted one of {', '.join(words)}, got {_shown(value)}")
    return value


def read_whole(value: Any, limits: tuple[int, int], where: str) -> int:
    """Return a whole number within ``limits``, both included."""
    low, high = limits
    whole = isinstance(value, int | float) and not isinstance(value, bool) and value == value // 1
    if not whole or not low <= value <= high:
        raise EvidenceError(f"{where}: wanted a whole number from {low} to {high}, got {_shown(value)}")
    return int(value)


def read_number(value: Any, where: str) -> float:
    """Return a finite number."""
    if isinstance(value, bool) or not isinstance(value, int | float) or not abs(value) < LARGEST:
        raise EvidenceError(f"{where}: wanted a number, got {_shown(value)}")
    return float(value)


def read_probability(value: Any, where: str) -> float:
    """Return a number from 0 to 1."""
    probability = read_number(value, where)
    if not 0 <= probability <= 1:
        raise EvidenceError(f"{where}: wanted a probability from 0 to 1, got {_shown(value)}")
    return probability


def read_probabilities(value: Any, words: Collection[str], where: str) -> dict[str, float]:
    """Return a probability for each of ``words``, those not named 0, scaled to sum to 1 exactly."""
    table = read_object(value, where)
    refuse_unknown_keys(table, words, where)
    named = {word: read_probability(each, f"{where}.{word}") for word, each in table.items()}
    total = sum(named.values())
    if abs(total - 1) > SUM_TOLERANCE:
        raise EvidenceError(f"{where}: wanted probabilities that sum to 1, got a sum of {total:.4g}")
    return {word: named.get(word, 0.0) / total for word in words}


def _shown(value: Any) -> str:
    text = str(value)[:SHOWN] if isinstance(value, int) else repr(value)
    return text if len(text) <= SHOWN else text[: SHOWN - 3] + "..."
