"""The named assumptions of the ranking: read from one table with its reasons, overridable by a TOML file."""

import math
import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field, fields
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from catalogue.schema import FloatArray

TABLE = Path(__file__).with_name("assumptions.toml")

_PROBABILITIES = frozenset(
    {
        "none_of_these",
        "kin_of_a_part",
        "kin_alike",
        "other_class",
        "gross_error",
        "gross_elsewhere",
        "replaced_surface",
        "new_when_unknown",
        "lip_when_unknown",
        "lip_when_unknown_photo",
        "wear_below_limit",
        "mark_is_discard",
        "photo_shared_variance",
        "print_shared_variance",
        "photo_shared_sight",
        "record_error",
        "record_omits",
        "mark_misread",
        "mark_foreign",
        "mark_elsewhere",
        "mark_unlisted",
        "counted_rightly",
        "pistons_counted_rightly",
        "no_match_from",
        "seen_rightly",
    }
)


class AssumptionsError(ValueError):
    """An assumptions file that cannot be used: one line that says what, where and how to mend it."""


@dataclass(frozen=True, eq=False, kw_only=True)
class Assumptions:
    """Values by name; ``assumptions.toml`` says what each means and why. Lengths in mm, masses in kg.

    Attributes
    ----------
    reading_std_mm, reading_std_kg : mapping of str to mapping of str to float
        Evidence key, then tool, to the standard deviation of a reading.
    tolerance_mm, check_std_mm, check_minutes : mapping of str to float
        By evidence key.
    population_least_spread : mapping of str to float
        By column, and of any other.
    confusion : mapping of str to (N, N) ndarray
        Rows what it is, columns what is said; each row sums to 1.
    reasons : mapping of str to str
    """

    none_of_these: float
    kin_of_a_part: float
    kin_alike: float
    other_class: float
    other_class_widening: float
    gross_error: float
    gross_elsewhere: float
    gross_width: float
    replaced_surface: float
    new_when_unknown: float
    lip_when_unknown: float
    lip_when_unknown_photo: float
    lip_std_mm: float
    wear_below_limit: float
    wear_below_scale_mm: float
    usable_wear_mm: float
    usable_wear_std_mm: float
    mark_std_mm: float
    mark_is_discard: float
    machining_allowance_mm: float
    thickest_mark_mm: float
    population_widening: float
    photo_shared_variance: float
    print_shared_variance: float
    photo_shared_sight: float
    record_error: float
    record_omits: float
    mark_misread: float
    mark_foreign: float
    mark_elsewhere: float
    mark_unlisted: float
    wheel_clearance_mm: float
    wheel_spare_step: float
    wheel_sizes: float
    counted_rightly: float
    pistons_counted_rightly: float
    scale_share: float
    other_axle_minutes: float
    wrong_order_cost: float
    check_cost: float
    no_match_from: float
    seen_rightly: float
    reading_std_mm: Mapping[str, Mapping[str, float]]
    reading_std_kg: Mapping[str, Mapping[str, float]]
    population_least_spread: Mapping[str, float]
    tolerance_mm: Mapping[str, float]
    check_std_mm: Mapping[str, float]
    check_minutes: Mapping[str, float]
    confusion: Mapping[str, FloatArray]
    reasons: Mapping[str, str] = field(default_factory=dict)

    @property
    def ready_from(self) -> float:
        """Probability from which ordering costs no more, on average, than one more check."""
        return 1 - self.check_cost / self.wrong_order_cost

    def least_spread(self, name: str) -> float:
        """Return the least spread of a column over all cars, as a share of its mean."""
        return self.population_least_spread.get(name, self.population_least_spread["other"])


def load_assumptions(overrides: Path | None = None) -> Assumptions:
    """Read the table, with ``overrides`` in the place of what that file names.

    Raises
    ------
    AssumptionsError
        For an unknown name, or a value that cannot stand.
    """
    return _with_overrides(_read(overrides)) if overrides else default_assumptions()


@lru_cache(maxsize=1)
def default_assumptions() -> Assumptions:
    """Return the assumptions that hold where nobody says otherwise."""
    return _with_overrides({})


def _read(path: Path) -> dict[str, Any]:
    try:
        return tomllib.loads(path.read_text(encoding="utf-8"))
    except (OSError, UnicodeDecodeError, tomllib.TOMLDecodeError) as error:
        raise AssumptionsError(f"{path}: wanted a TOML file of assumptions, got: {error}") from error


def _with_overrides(overrides: Mapping[str, Any]) -> Assumptions:
    values: dict[str, Any] = {}
    reasons: dict[str, str] = {}
    _flatten(_read(TABLE), "", values, reasons)
    stated: dict[str, Any] = {}
    _flatten(overrides, "", stated, reasons)
    for name, value in stated.items():
        values[name] = _overridden(name, value, values)
    for name, value in values.items():
        _check(name, value)
    return _build(values, reasons)


def _flatten(table: Mapping[str, Any], prefix: str, values: dict[str, Any], reasons: dict[str, str]) -> None:
    """Collect ``name: value`` from a nested table; ``name = 1`` is short for ``[name] value = 1``."""
    for key, entry in table.items():
        name = f"{prefix}{key}"
        if isinstance(entry, Mapping) and "value" in entry:
            values[name] = entry["value"]
            reasons[name] = str(entry.get("reason", "overridden"))
        elif isinstance(entry, Mapping) and key in ("reading_std_mm", "reading_std_kg", "confusion"):
            _flatten(entry, f"{name}.", values, reasons)
        else:
            values[name], reasons[name] = entry, "overridden"


def _overridden(name: str, value: Any, known: Mapping[str, Any]) -> Any:
    if name not in known:
        raise AssumptionsError(f"{name}: no such assumption; known are {', '.join(sorted(known))}")
    if not isinstance(known[name], Mapping):
        return value
    if not isinstance(value, Mapping) or not set(value) <= set(known[name]):
        raise AssumptionsError(f"{name}: wanted a table with some of {', '.join(known[name])}, got {value!r}")
    return {**known[name], **value}


def _check(name: str, value: Any) -> None:
    if name.startswith("confusion."):
        _check_confusion(name, value)
        return
    numbers = value.values() if isinstance(value, Mapping) else [value]
    for number in numbers:
        if isinstance(number, bool) or not isinstance(number, int | float) or not math.isfinite(number):
            raise AssumptionsError(f"{name}: wanted a number, got {number!r}")
        if number <= 0 or (name in _PROBABILITIES and number >= 1):
            wanted = "a probability between 0 and 1, both excluded" if name in _PROBABILITIES else "more than 0"
            raise AssumptionsError(f"{name}: wanted {wanted}, got {number!r}")


def _check_confusion(name: str, rows: Any) -> None:
    square = isinstance(rows, list) and all(isinstance(row, list) and len(row) == len(rows) for row in rows)
    if not square or any(min(row) <= 0 or abs(sum(row) - 1) > 1e-6 for row in rows):
        raise AssumptionsError(f"{name}: wanted as many rows as columns, over 0, each row with a sum of 1")


def _build(values: Mapping[str, Any], reasons: Mapping[str, str]) -> Assumptions:
    known: dict[str, Any] = {each.name: values[each.name] for each in fields(Assumptions) if each.name in values}
    known |= {name: _under(values, f"{name}.") for name in ("reading_std_mm", "reading_std_kg")}
    known["confusion"] = {key: np.array(rows) for key, rows in _under(values, "confusion.").items()}
    return Assumptions(**known, reasons=dict(reasons))


def _under(values: Mapping[str, Any], prefix: str) -> dict[str, Any]:
    return {name.removeprefix(prefix): value for name, value in values.items() if name.startswith(prefix)}
