"""Which packages still in the running cannot be told apart: by these readings, and by any reading."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import log

import numpy as np

from catalogue.assumptions import Assumptions
from catalogue.checks import NUMBERS, PHOTO_OF_SURFACE, Check, possible_checks
from catalogue.field import Field
from catalogue.observation import AxleEvidence, Evidence, EvidenceAxle
from catalogue.posterior import Posterior
from catalogue.records import DEALER
from catalogue.schema import AXLES, UNKNOWN, BoolArray, FloatArray, IntArray

ALIKE = 0.85
"""Two packages whose readings overlap more than this (Bhattacharyya coefficient) are not told apart by them: at 0.85
the better of two guesses is wrong at least one time in five."""

IN_THE_RUNNING = 1e-3
"""Packages below this probability are not named in a group."""

ODDS = 19.0
"""By these readings two packages are told apart from likelihoods of 19 to 1 on: 0.95 from even beginnings."""


@dataclass(frozen=True, slots=True)
class AlikeGroup:
    """Packages that cannot be told apart.

    Attributes
    ----------
    packages : tuple of str
        Likeliest first.
    axle : str
        Of the readings.
    by : {"these readings", "any reading"}
    resolved_by : tuple of str
        Evidence that tells at least two of them apart: what is read on this axle first, what separates most pairs
        before the rest, numbers on the parts after that, records last.
    by_other_axle : tuple of str
        Those of ``resolved_by`` that tell nothing on this axle and have to be read on the car's other one.
    same_parts : tuple of str
        Parts that all of them take: ``rear rotor``.
    """

    packages: tuple[str, ...]
    axle: str
    by: str
    resolved_by: tuple[str, ...]
    by_other_axle: tuple[str, ...]
    same_parts: tuple[str, ...]


def alike_groups(
    belief: Posterior, field: Field, evidence: Evidence, assumptions: Assumptions
) -> tuple[AlikeGroup, ...]:
    """Find the groups among the packages in the running."""
    running = np.flatnonzero(field.mass >= IN_THE_RUNNING)
    running = running[np.argsort(-field.mass[running], kind="stable")]
    if len(running) < 2:
        return ()
    overlaps = _overlaps(belief, field, running, assumptions)
    groups = list(_by_these(belief, field, running, evidence))
    for axle in field.asked:
        has_axle = field.rows[axle][running] != UNKNOWN
        groups += [(axle, "any reading", members) for members in _by_any(overlaps, axle, has_axle)]
    return tuple(
        _described(belief, (axle, by), (field, running, members), overlaps)
        for axle, by, members in groups
        if len({int(field.package[running[member]]) for member in members}) > 1
    )


Overlaps = Mapping[tuple[str, str], FloatArray]
"""Axle and check to the (n, n) overlap of what each two packages would read; 1 where one's cell is not known."""


def _overlaps(belief: Posterior, field: Field, running: IntArray, assumptions: Assumptions) -> Overlaps:
    """Return the overlaps of all checks, made or not, on both axles of a car."""
    prepared, row = belief.prepared, belief.prepared.catalogue.packages.row
    places: dict[str, IntArray] = {axle: rows[running] for axle, rows in field.rows.items()}
    for code, axle in enumerate(AXLES):
        places.setdefault(axle, row[field.package[running], code])
    return {
        (axle, check.name): overlap(check)
        for axle, rows in places.items()
        for check in possible_checks(prepared, (axle, rows), AxleEvidence(), assumptions)
    }


def overlap(check: Check) -> FloatArray:
    """Return the Bhattacharyya coefficient of each two packages' readings by one check, (S, S)."""
    coefficient = np.minimum(check.outcome.overlap(), 1.0)
    coefficient[~check.known, :] = 1.0
    coefficient[:, ~check.known] = 1.0
    return coefficient[np.ix_(check.group, check.group)]


def _by_these(
    belief: Posterior, field: Field, running: IntArray, evidence: Evidence
) -> list[tuple[str, str, list[int]]]:
    """Return the group of the likeliest package, where these readings leave it one."""
    if not evidence.axles:
        return []
    total = np.zeros(len(running))
    for axle in evidence.axles:
        total += belief.weighed[axle].log_likelihood[field.rows[axle][running]]
    members = np.flatnonzero(total >= total.max() - log(ODDS)).tolist()
    observed = list(evidence.axles)
    return [(observed[0] if len(observed) == 1 else "both", "these readings", members)]


def _by_any(overlaps: Overlaps, axle: EvidenceAxle, has_axle: BoolArray) -> list[list[int]]:
    """Return the groups in which all measurable evidence of an axle leaves each two packages alike.

    The likeliest package gathers those like it, then the likeliest of the rest, and so on.
    """
    overlapping = np.ones((len(has_axle), len(has_axle)))
    for (of_axle, name), each in overlaps.items():
        if of_axle == axle and name not in NUMBERS:
            overlapping *= each
    groups: list[list[int]] = []
    for place in np.flatnonzero(has_axle).tolist():
        home = next((group for group in groups if (overlapping[place, group] > ALIKE).all()), None)
        if home is None:
            groups.append([place])
        else:
            home.append(place)
    return groups


def _described(
    belief: Posterior,
    name: tuple[str, str],
    group: tuple[Field, IntArray, Sequence[int]],
    overlaps: Overlaps,
) -> AlikeGroup:
    axle, by = name
    field, running, members = group
    places = list(members)
    packages = field.package[running[places]]
    unique = list(dict.fromkeys(packages.tolist()))
    here, elsewhere = _by_checks(axle, overlaps, np.ix_(places, places))
    keys = belief.prepared.catalogue.packages.keys
    return AlikeGroup(
        packages=tuple(keys[package] for package in unique),
        axle=axle,
        by=by,
        resolved_by=(*here, *elsewhere, *_by_records(belief, unique)),
        by_other_axle=tuple(elsewhere),
        same_parts=_same_parts(belief, unique),
    )


def _by_checks(axle: str, overlaps: Overlaps, inside: tuple[IntArray, ...]) -> tuple[list[str], list[str]]:
    """Return the checks that tell some of a group apart on its axle, and those that do on the other one only."""
    here: dict[str, int] = {}
    elsewhere: dict[str, int] = {}
    for (of_axle, check), each in overlaps.items():
        pairs = int((each[inside] < ALIKE).sum())
        if pairs and check != PHOTO_OF_SURFACE:
            separated = here if axle in (of_axle, "both") else elsewhere
            separated[check] = max(pairs, separated.get(check, 0))
    for check in here:
        elsewhere.pop(check, None)
    return _ranked(here), _ranked(elsewhere)


def _ranked(separated: Mapping[str, int]) -> list[str]:
    return sorted(separated, key=lambda check: (check in NUMBERS, -separated[check]))


def _by_records(belief: Posterior, packages: Sequence[int]) -> list[str]:
    """Return which records tell at least two of the packages apart; no record knows of a dealer's work."""
    fitments = belief.prepared.catalogue.fitments
    possible = np.any([each.prior > 0 for each in belief.hypotheses], axis=0)
    of_package = [np.flatnonzero((fitments.package == package) & possible) for package in packages]
    resolved = []
    dealer = any((fitments.offered[rows] == DEALER).any() for rows in of_package)
    codes = [frozenset(fitments.code[rows].tolist()) for rows in of_package]
    if not dealer and any(not one & other for one in codes for other in codes):
        resolved.append("option_code")
    spans = [_months(belief, rows) for rows in of_package]
    if any(one[1] < other[0] for one in spans for other in spans):
        resolved.append("built")
    return resolved


def _months(belief: Posterior, rows: IntArray) -> tuple[int, int]:
    """Return first and last month that a package was built in, as far as the catalogue says."""
    fitments = belief.prepared.catalogue.fitments
    first = np.where(fitments.built_from[rows] == UNKNOWN, fitments.year_from[rows] * 12, fitments.built_from[rows])
    last = np.where(fitments.built_to[rows] == UNKNOWN, fitments.year_to[rows] * 12 + 11, fitments.built_to[rows])
    return (int(first.min()), int(last.max())) if len(rows) else (0, 10**9)


def _same_parts(belief: Posterior, packages: Sequence[int]) -> tuple[str, ...]:
    prepared = belief.prepared
    same = []
    for code, axle in enumerate(AXLES):
        rows = prepared.catalogue.packages.row[list(packages), code]
        if (rows == UNKNOWN).any():
            continue
        rotors = np.column_stack([prepared.rotor[rows], prepared.rotor_right[rows]])
        same += [f"{axle} rotor"] if _all_same(rotors) else []
        same += [f"{axle} pads"] if _all_same(prepared.pads[rows][:, None]) else []
    return tuple(same)


def _all_same(rows: IntArray) -> BoolArray:
    return np.asarray((rows == rows[0]).all())
