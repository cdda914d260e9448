"""Reads JSON so that nothing in it is lost: the standard library keeps the last of two equal keys and says nothing."""

import json
from typing import Any


def parse_json(text: str | bytes) -> Any:
    """Return what a JSON text says.

    Parameters
    ----------
    text : str or bytes
        Bytes in UTF-8, UTF-16 or UTF-32 (RFC 8259).

    Raises
    ------
    ValueError
        One line: text that is no JSON, a key that stands twice in one object, objects or lists nested too deep to
        read.
    """
    try:
        return json.loads(text, object_pairs_hook=_object)
    except UnicodeDecodeError as fault:
        raise ValueError(f"byte {fault.start} is no text in UTF-8") from None
    except json.JSONDecodeError as fault:
        raise ValueError(f"{fault.msg}, line {fault.lineno}, column {fault.colno}") from None
    except RecursionError:
        raise ValueError("objects or lists are nested too deep") from None


def _object(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    """Return an object whose keys all differ."""
    found = dict(pairs)
    if len(found) < len(pairs):
        keys = [key for key, _ in pairs]
        twice = next(key for key in keys if keys.count(key) > 1)
        raise ValueError(f"the key {twice!a} stands twice in one object, and only one of them can count")
    return found
