"""What a catalogue that loads still says against itself: figures that can hardly all be right.

Loading refuses what cannot be read or can never be true of one row. What is found here reads well and may even be
so; it is worth a look before anything is ordered by it.
"""

from collections.abc import Iterator
from typing import Any

import numpy as np
from numpy.typing import NDArray

from catalogue.faults import Fault
from catalogue.mass import mass_from_geometry
from catalogue.schema import MATERIALS, UNKNOWN, Catalogue, Fitments, IntArray, Rotors, month_text

FIRST_ROW = 2
"""Row of a table's first record as a spreadsheet counts it."""

WEAR_MM = (0.5, 5.0)
"""New less discard thickness of an iron ring, least and most; common practice: 1 to 2 mm, on lorries more."""

WHEEL_ROOM_MM = 60.0
"""Wheel's diameter less the rotor's at least: rim well and caliper need it; common practice."""

MASS_STDS = 4.0
"""A mass further than this from the geometry's, in its standard deviations, belongs to another part."""

SHARE_SLACK = 0.005
"""Shares are rounded."""

MM_PER_INCH = 25.4


def contradictions(catalogue: Catalogue) -> tuple[Fault, ...]:
    """Find what a catalogue says against itself.

    Parameters
    ----------
    catalogue : Catalogue
        Loaded, hence without a fault of its own.

    Returns
    -------
    tuple of Fault
        File by file, each with row, column, what would fit and what stands there. None of them keeps the catalogue
        from being used.
    """
    return (
        *_rotors(catalogue.rotors),
        *_masses(catalogue.rotors),
        *_marks(catalogue),
        *_wheels(catalogue),
        *_sides(catalogue),
        *_shares(catalogue.fitments),
        *_repeated_fitments(catalogue),
        *_ambiguous_codes(catalogue),
        *_alternatives(catalogue),
    )


def _rotors(rotors: Rotors) -> Iterator[Fault]:
    """Lengths that cannot lie in each other: hat within ring, bolts within hat, and a discard limit far off."""
    for row in np.flatnonzero(rotors.hat_mm > rotors.ring_inner_mm):
        wanted = f"at most ring_inner_mm ({rotors.ring_inner_mm[row]:g})"
        yield _fault("rotors.csv", row, "hat_mm", (wanted, f"{rotors.hat_mm[row]:g}"))
    for row in np.flatnonzero(rotors.bolt_circle_mm >= rotors.hat_mm):
        wanted = f"less than hat_mm ({rotors.hat_mm[row]:g})"
        yield _fault("rotors.csv", row, "bolt_circle_mm", (wanted, f"{rotors.bolt_circle_mm[row]:g}"))
    wear_mm = rotors.thickness_mm - rotors.min_thickness_mm
    least_mm, most_mm = WEAR_MM
    ceramic = rotors.material == MATERIALS.index("carbon-ceramic")
    for row in np.flatnonzero(~ceramic & ((wear_mm < least_mm) | (wear_mm > most_mm))):
        wanted = f"{least_mm:g} to {most_mm:g} mm under thickness_mm ({rotors.thickness_mm[row]:g})"
        yield _fault("rotors.csv", row, "min_thickness_mm", (wanted, f"{rotors.min_thickness_mm[row]:g}"))


def _masses(rotors: Rotors) -> Iterator[Fault]:
    for row in np.flatnonzero(np.isfinite(rotors.mass_kg)):
        mass = mass_from_geometry(rotors.row(int(row)))
        if abs(rotors.mass_kg[row] - mass.nominal_value) > MASS_STDS * mass.std_dev:
            wanted = f"about {mass.nominal_value:.1f} by the rotor's lengths"
            yield _fault("rotors.csv", row, "mass_kg", (wanted, f"{rotors.mass_kg[row]:g}"))


def _marks(catalogue: Catalogue) -> Iterator[Fault]:
    """Yield a fault for each part whose mark another part has too: the mark does not name the part."""
    for file, table in (("rotors.csv", catalogue.rotors), ("pads.csv", catalogue.pads)):
        first: dict[str, int] = {}
        for row, marks in enumerate(table.marks):
            for mark in marks:
                before = first.setdefault(mark, row)
                if before != row:
                    got = f"{mark!r} on {table.part[row]} and, in row {before + FIRST_ROW}, on {table.part[before]}"
                    yield _fault(file, row, "marks", ("a mark that one part has", got))


def _wheels(catalogue: Catalogue) -> Iterator[Fault]:
    packages = catalogue.packages
    diameter_mm = catalogue.rotors.diameter_mm[packages.rotor]
    for row in np.flatnonzero(packages.min_wheel_in * MM_PER_INCH < diameter_mm + WHEEL_ROOM_MM):
        wanted = (
            f"at least {(diameter_mm[row] + WHEEL_ROOM_MM) / MM_PER_INCH:.0f} over a rotor of {diameter_mm[row]:g} mm"
        )
        yield _fault("packages.csv", row, "min_wheel_in", (wanted, f"{packages.min_wheel_in[row]:g}"))


def _sides(catalogue: Catalogue) -> Iterator[Fault]:
    """Left and right rotors of one package are of one size."""
    packages, rotors = catalogue.packages, catalogue.rotors
    for row in np.flatnonzero(packages.rotor_right != UNKNOWN):
        left, right = int(packages.rotor[row]), int(packages.rotor_right[row])
        for name in ("diameter_mm", "thickness_mm"):
            lengths_mm = getattr(rotors, name)
            if lengths_mm[left] != lengths_mm[right]:
                wanted = f"a rotor with the left one's {name} ({lengths_mm[left]:g})"
                got = f"{rotors.part[right]} with {lengths_mm[right]:g}"
                yield _fault("packages.csv", row, "rotor_right", (wanted, got))


def _shares(fitments: Fitments) -> Iterator[Fault]:
    """Shares of a model's cars of one month add up to one at most."""
    shares = np.nan_to_num(fitments.share)
    for rows in _by(fitments.model):
        first, last = _months(fitments, rows)
        there = (first[None, :] <= first[:, None]) & (first[:, None] <= last[None, :])
        totals = there @ shares[rows]
        worst = int(np.argmax(totals))
        if totals[worst] > 1 + SHARE_SLACK:
            line, model = fitments.models[fitments.model[rows[0]]]
            listed = rows[there[worst]]
            got = f"{totals[worst]:.3f} for {line} {model} in {month_text(int(first[worst]))}, as in {_listed(listed)}"
            yield _fault("fitments.csv", listed[-1], "share", ("shares of a model's cars that make 1 at most", got))


def _repeated_fitments(catalogue: Catalogue) -> Iterator[Fault]:
    """One package twice on one model at one time counts its cars twice."""
    fitments = catalogue.fitments
    for rows in _by(fitments.model * len(catalogue.packages.keys) + fitments.package):
        for before, row in _overlapping(fitments, rows):
            package = catalogue.packages.keys[fitments.package[row]]
            got = f"{package!r} again on the same model and time as in row {before + FIRST_ROW}"
            yield _fault("fitments.csv", row, "package", ("each package once on a model at one time", got))


def _ambiguous_codes(catalogue: Catalogue) -> Iterator[Fault]:
    """One option code for two packages of one model at one time decides nothing."""
    fitments = catalogue.fitments
    coded = np.flatnonzero(fitments.code != UNKNOWN)
    keys = fitments.model[coded] * max(len(fitments.codes), 1) + fitments.code[coded]
    for places in _by(keys):
        for before, row in _overlapping(fitments, coded[places]):
            if fitments.package[before] != fitments.package[row]:
                code = fitments.codes[fitments.code[row]]
                got = f"{code!r} for another package of the model at the same time in row {before + FIRST_ROW}"
                yield _fault("fitments.csv", row, "option_code", ("one package a code, model and time", got))


def _alternatives(catalogue: Catalogue) -> Iterator[Fault]:
    """Yield a fault for a rotor that is said to replace one of another size."""
    rotors = catalogue.rotors
    for row, alternative in enumerate(catalogue.alternatives):
        new, old = rotors.index.get(alternative.part), rotors.index.get(alternative.replaces)
        if new is not None and old is not None and rotors.diameter_mm[new] != rotors.diameter_mm[old]:
            wanted = f"a rotor of {rotors.diameter_mm[old]:g} mm, as {alternative.replaces}"
            got = f"{alternative.part} of {rotors.diameter_mm[new]:g} mm"
            yield _fault("alternatives.csv", row, "part", (wanted, got))


def _by(keys: NDArray[np.int64]) -> Iterator[IntArray]:
    """Yield the places of each key that comes more than once, in order."""
    order = np.argsort(keys, kind="stable")
    starts = np.flatnonzero(np.diff(keys[order], prepend=-1))
    for group in np.split(order, starts[1:]):
        if len(group) > 1:
            yield group


def _overlapping(fitments: Fitments, rows: IntArray) -> Iterator[tuple[int, int]]:
    """Yield the pairs of rows whose times overlap, the earlier row first."""
    first, last = _months(fitments, rows)
    overlap = (first[:, None] <= last[None, :]) & (first[None, :] <= last[:, None])
    for one, other in np.argwhere(np.triu(overlap, 1)).tolist():
        yield int(rows[one]), int(rows[other])


def _months(fitments: Fitments, rows: IntArray) -> tuple[IntArray, IntArray]:
    """Return the first and last month of each row: its years, narrowed by the months where it has them."""
    first = np.maximum(fitments.year_from[rows] * 12, fitments.built_from[rows])
    last = fitments.year_to[rows] * 12 + 11
    built_to = fitments.built_to[rows]
    return first, np.where(built_to == UNKNOWN, last, np.minimum(last, built_to))


def _listed(rows: IntArray) -> str:
    return "rows " + ", ".join(str(row + FIRST_ROW) for row in rows.tolist())


def _fault(file: str, row: Any, column: str, wanted_got: tuple[str, str]) -> Fault:
    return Fault(file, int(row) + FIRST_ROW, column, *wanted_got)
