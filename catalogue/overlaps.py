"""What measuring cannot tell apart in a whole catalogue, found before anybody measures."""

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

import numpy as np
from scipy.sparse.csgraph import connected_components

from catalogue.schema import AXLES, OFFERS, UNKNOWN, Catalogue, FloatArray, IntArray
from catalogue.separation import TOLD_APART_STDS, BoolArray, Separation, Separations

PRECISION_MM = 1.0
"""Standard deviation of a fair photo or tape reading, mm: pairs that need better are listed."""

SHOWN_EVIDENCE = 4
"""So many names of evidence stand in a line of the table; the wire form has all."""

PART_COLUMNS = ("rotor", "pads", "caliper")
PART_NAMES = tuple(f"{axle} {kind}" for axle in AXLES for kind in ("rotor", "pads"))


@dataclass(frozen=True, slots=True)
class Pair:
    """Two packages of a line that a reading of the given precision does not tell apart on one axle.

    Attributes
    ----------
    line, axle : str
    packages : (str, str)
    separated_by : tuple of Separation
        Widest gap first; empty where nothing separates them.
    same_parts : tuple of str
        Parts that both have, with their axle: ``rear rotor``.
    models : tuple of str
        Models that both are made for.
    """

    line: str
    axle: str
    packages: tuple[str, str]
    separated_by: tuple[Separation, ...]
    same_parts: tuple[str, ...]
    models: tuple[str, ...]

    @property
    def needs_std_mm(self) -> float | None:
        """Standard deviation of a length that would do, mm; None where no length does."""
        gaps = [each.needs_std for each in self.separated_by if each.kind == "length" and each.needs_std is not None]
        return max(gaps, default=None)

    def to_json(self) -> dict[str, Any]:
        """Return the wire form."""
        needs = self.needs_std_mm
        return {
            "line": self.line,
            "axle": self.axle,
            "packages": list(self.packages),
            "needs_std_mm": None if needs is None else round(needs, 3),
            "separated_by": [separation.to_json() for separation in self.separated_by],
            "same_parts": list(self.same_parts),
            "models": list(self.models),
        }


@dataclass(frozen=True, slots=True)
class Group:
    """Packages of a line that no reading tells apart on one axle.

    Attributes
    ----------
    line, axle : str
    packages : tuple of str
        Two or more.
    resolved_by : tuple of str
        Evidence that tells every two apart all the same: numbers on the parts, the build month, the option code where
        no dealer fits any of them.
    by_other_axle : tuple of str
        Evidence on the other axle that tells every two apart.
    same_parts : tuple of str
        Parts that all have, with their axle.
    """

    line: str
    axle: str
    packages: tuple[str, ...]
    resolved_by: tuple[str, ...]
    by_other_axle: tuple[str, ...]
    same_parts: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """Return the wire form, that of an identification's ``cannot_tell_apart`` with a line and the other axle."""
        return {
            "line": self.line,
            "axle": self.axle,
            "packages": list(self.packages),
            "by": "any reading",
            "resolved_by": list(self.resolved_by),
            "by_other_axle": list(self.by_other_axle),
            "same_parts": list(self.same_parts),
        }


@dataclass(frozen=True, slots=True)
class SharedPart:
    """A part that several packages of one axle have."""

    axle: str
    kind: str
    part: str
    packages: tuple[str, ...]

    def to_json(self) -> dict[str, Any]:
        """Return the wire form."""
        return {"axle": self.axle, "kind": self.kind, "part": self.part, "packages": list(self.packages)}


@dataclass(frozen=True, eq=False)
class Matrix:
    """The pairs of one line and axle as a picture's data.

    Attributes
    ----------
    line, axle : str
    packages : tuple of str, N
    needs_std_mm : (N, N) ndarray
        Standard deviation of a length that tells the two apart; 0 where no length does.
    by_reading : (N, N) ndarray of bool
        Whether anything that can be measured, weighed, seen or counted does.
    """

    line: str
    axle: str
    packages: tuple[str, ...]
    needs_std_mm: FloatArray
    by_reading: BoolArray

    def to_json(self) -> dict[str, Any]:
        """Return the wire form."""
        return {
            "line": self.line,
            "axle": self.axle,
            "packages": list(self.packages),
            "needs_std_mm": self.needs_std_mm.round(3).tolist(),
            "by_reading": self.by_reading.tolist(),
        }


@dataclass(frozen=True, slots=True)
class Overlaps:
    """What a catalogue's packages have in common.

    Attributes
    ----------
    precision_mm : float
        Standard deviation of the reading that ``pairs`` are held against.
    groups : tuple of Group
    pairs : tuple of Pair
        Those that need better than ``precision_mm``; the rest are in ``easy_pairs`` by number.
    easy_pairs : int
    shared_parts : tuple of SharedPart
    matrices : tuple of Matrix
    """

    precision_mm: float
    groups: tuple[Group, ...]
    pairs: tuple[Pair, ...]
    easy_pairs: int
    shared_parts: tuple[SharedPart, ...]
    matrices: tuple[Matrix, ...]

    def to_json(self) -> dict[str, Any]:
        """Return the wire form."""
        return {
            "precision_mm": self.precision_mm,
            "cannot_tell_apart": [group.to_json() for group in self.groups],
            "pairs": [pair.to_json() for pair in self.pairs],
            "easy_pairs": self.easy_pairs,
            "shared_parts": [shared.to_json() for shared in self.shared_parts],
            "matrices": [matrix.to_json() for matrix in self.matrices],
        }

    def to_text(self) -> str:
        """Return the same as tables for a terminal, without the matrices."""
        return "\n".join(
            [
                "No reading tells these apart:",
                *_table(("line", "axle", "packages", "told apart by", "same parts"), map(_group_cells, self.groups)),
                "",
                f"These need a reading better than {self.precision_mm:g} mm, or another kind of evidence "
                f"({self.easy_pairs} other pairs don't):",
                *_table(("line", "axle", "packages", "needs mm", "told apart by"), map(_pair_cells, self.pairs)),
                "",
                "Parts that several packages share:",
                *_table(("axle", "kind", "part", "packages"), map(_shared_cells, self.shared_parts)),
            ]
        )


def overlaps(catalogue: Catalogue, *, precision_mm: float = PRECISION_MM) -> Overlaps:
    """Find what measuring cannot tell apart in a catalogue.

    Parameters
    ----------
    catalogue : Catalogue
    precision_mm : float, optional
        Standard deviation of a reading, mm; > 0. ``inf`` lists every pair.

    Returns
    -------
    Overlaps
        Packages are compared within a line, axle by axle.

    Raises
    ------
    ValueError
        For a precision that is not positive.
    """
    if not precision_mm > 0:
        raise ValueError(f"precision_mm: needs a positive length in mm, got {precision_mm!r}")
    groups: list[Group] = []
    pairs: list[Pair] = []
    matrices: list[Matrix] = []
    compared = 0
    for line_axle in _line_axles(catalogue):
        matrices.append(line_axle.matrix())
        groups.extend(line_axle.groups())
        pairs.extend(line_axle.pairs(precision_mm))
        compared += len(line_axle.packages) * (len(line_axle.packages) - 1) // 2
    return Overlaps(
        precision_mm, tuple(groups), tuple(pairs), compared - len(pairs), _shared_parts(catalogue), tuple(matrices)
    )


@dataclass(frozen=True, eq=False)
class _LineAxle:
    """The packages of one line that have one axle."""

    catalogue: Catalogue
    line: int
    axle: int
    fitments: IntArray
    """The line's rows of ``catalogue.fitments``."""

    packages: IntArray
    """Indices into ``catalogue.packages.keys``."""

    separations: Separations

    @property
    def names(self) -> tuple[str, str]:
        """The line and the axle."""
        return self.catalogue.fitments.lines[self.line], AXLES[self.axle]

    def keys(self, places: Sequence[int]) -> tuple[str, ...]:
        """Return the packages at those places."""
        return tuple(self.catalogue.packages.keys[self.packages[place]] for place in places)

    def matrix(self) -> Matrix:
        """Return the data of the picture."""
        needs_std_mm = self.separations.best_gap_mm / TOLD_APART_STDS
        return Matrix(*self.names, self.keys(range(len(self.packages))), needs_std_mm, self.separations.by_reading)

    def groups(self) -> Iterator[Group]:
        """Yield the sets of packages that no reading tells apart."""
        _, labels = connected_components(~self.separations.by_reading, directed=False)
        for label in np.flatnonzero(np.bincount(labels) > 1):
            places = [int(place) for place in np.flatnonzero(labels == label)]
            resolved = self._resolved_by(places), self._by_other_axle(places)
            yield Group(*self.names, self.keys(places), *resolved, self._same_parts(places))

    def pairs(self, precision_mm: float) -> Iterator[Pair]:
        """Yield the pairs whose best length needs a reading better than ``precision_mm``."""
        close = self.separations.best_gap_mm < precision_mm * TOLD_APART_STDS
        for one, other in np.argwhere(np.triu(close, 1)).tolist():
            first, second = self.keys((one, other))
            found = self.separations.of(one, other)
            yield Pair(*self.names, (first, second), found, self._same_parts((one, other)), self._models((one, other)))

    def _resolved_by(self, places: Sequence[int]) -> tuple[str, ...]:
        """Return evidence that tells every two of the group apart."""
        inside = np.ix_(places, places)
        numbers = [name for name, differs in self.separations.numbers.items() if _all_apart(differs[inside])]
        records = {"option_code": self._codes_differ(places), "built": self._months_differ(places)}
        return (*numbers, *(name for name, differ in records.items() if differ))

    def _by_other_axle(self, places: Sequence[int]) -> tuple[str, ...]:
        """Return evidence on the other axle that tells every two of the group apart; none where one lacks it."""
        rows = self.catalogue.packages.row[self.packages[list(places)], 1 - self.axle]
        if (rows == UNKNOWN).any():
            return ()
        other = Separations(self.catalogue, rows)
        differs = other.looks | {name: gaps > 0 for name, gaps in other.lengths_mm.items()} | other.numbers
        return tuple(name for name, each in differs.items() if _all_apart(each))

    def _months_differ(self, places: Sequence[int]) -> bool:
        """Whether on every model that has several of the packages one was built after the other."""
        table, rows = self.catalogue.fitments, self._fitments_of(places)
        first = np.where(table.built_from[rows] == UNKNOWN, table.year_from[rows] * 12, table.built_from[rows])
        last = np.where(table.built_to[rows] == UNKNOWN, table.year_to[rows] * 12 + 11, table.built_to[rows])
        order = np.lexsort((first, table.model[rows]))
        model, package = table.model[rows][order], table.package[rows][order]
        other = (model[1:] == model[:-1]) & (package[1:] != package[:-1])
        return bool(other.any() and (first[order][1:] > last[order][:-1])[other].all())

    def _fitments_of(self, places: Sequence[int]) -> IntArray:
        """Return the line's fitments of the packages at those places."""
        return self.fitments[np.isin(self.catalogue.fitments.package[self.fitments], self.packages[list(places)])]

    def _codes_differ(self, places: Sequence[int]) -> bool:
        """Whether on every model the codes name the packages, and no dealer fits any of them."""
        table, rows = self.catalogue.fitments, self._fitments_of(places)
        if (table.code[rows] == UNKNOWN).any() or (table.offered[rows] == OFFERS.index("dealer")).any():
            return False
        meanings = {(table.model[row], table.code[row], table.package[row]) for row in rows}
        return len(meanings) == len({meaning[:2] for meaning in meanings})

    def _models(self, places: Sequence[int]) -> tuple[str, ...]:
        models = self.catalogue.fitments.models
        return tuple(
            models[model][1] for model in sorted(set.intersection(*(self._made_for[place] for place in places)))
        )

    def _same_parts(self, places: Sequence[int]) -> tuple[str, ...]:
        """Return what all the packages there have in common, on both axles."""
        first, *others = (self._parts[place] for place in places)
        alike = [part != UNKNOWN and all(other[at] == part for other in others) for at, part in enumerate(first)]
        return tuple(name for name, same in zip(PART_NAMES, alike, strict=True) if same)

    @cached_property
    def _made_for(self) -> list[set[int]]:
        """Models that each package is made for."""
        table = self.catalogue.fitments
        made_for: dict[int, set[int]] = {package: set() for package in self.packages.tolist()}
        for package, model in zip(
            table.package[self.fitments].tolist(), table.model[self.fitments].tolist(), strict=True
        ):
            if package in made_for:
                made_for[package].add(model)
        return list(made_for.values())

    @cached_property
    def _parts(self) -> list[list[int]]:
        """Rows of each package's rotors and pads, in the order of ``PART_NAMES``."""
        packages, rows = self.catalogue.packages, self.catalogue.packages.row[self.packages]
        columns = [
            np.where(rows[:, axle] == UNKNOWN, UNKNOWN, column[rows[:, axle]])
            for axle in range(len(AXLES))
            for column in (packages.rotor, packages.pads)
        ]
        return [list(parts) for parts in zip(*(column.tolist() for column in columns), strict=True)]


def _all_apart(differs: BoolArray) -> bool:
    """Whether every two of a set differ, (N, N)."""
    return bool(differs[~np.eye(len(differs), dtype=np.bool_)].all())


def _line_axles(catalogue: Catalogue) -> Iterator[_LineAxle]:
    table = catalogue.fitments
    line_of = table.model_line[table.model]
    order = np.argsort(line_of, kind="stable")
    borders = np.searchsorted(line_of[order], np.arange(len(table.lines) + 1))
    for line in range(len(table.lines)):
        fitments = order[borders[line] : borders[line + 1]]
        packages = np.unique(table.package[fitments])
        for axle in range(len(AXLES)):
            rows = catalogue.packages.row[packages, axle]
            there = rows != UNKNOWN
            if there.any():
                separations = Separations(catalogue, rows[there])
                yield _LineAxle(catalogue, line, axle, fitments, packages[there], separations)


def _shared_parts(catalogue: Catalogue) -> tuple[SharedPart, ...]:
    packages = catalogue.packages
    names = {"rotor": catalogue.rotors.part, "pads": catalogue.pads.part, "caliper": catalogue.calipers.caliper}
    holders: dict[tuple[int, str, int], list[str]] = {}
    for kind in PART_COLUMNS:
        for row, (axle, part) in enumerate(zip(packages.axle, getattr(packages, kind), strict=True)):
            holders.setdefault((int(axle), kind, int(part)), []).append(packages.keys[packages.key[row]])
    return tuple(
        SharedPart(AXLES[axle], kind, names[kind][part], tuple(sharing))
        for (axle, kind, part), sharing in holders.items()
        if len(sharing) > 1
    )


def _group_cells(group: Group) -> tuple[str, ...]:
    other = next(axle for axle in AXLES if axle != group.axle)
    resolved = [*group.resolved_by, *(f"{other} {name}" for name in group.by_other_axle)]
    same = ", ".join(group.same_parts) or "-"
    more = len(resolved) - SHOWN_EVIDENCE
    shown = [*resolved[:SHOWN_EVIDENCE], f"and {more} more"] if more > 0 else resolved
    return group.line, group.axle, " / ".join(group.packages), ", ".join(shown) or "nothing", same


def _pair_cells(pair: Pair) -> tuple[str, ...]:
    needs = "-" if pair.needs_std_mm is None else f"{pair.needs_std_mm:.2f}"
    told = ", ".join(_separation_text(each) for each in pair.separated_by) or "nothing here"
    return pair.line, pair.axle, " / ".join(pair.packages), needs, told


def _separation_text(separation: Separation) -> str:
    if separation.gap is None:
        return separation.evidence
    when = " when new or over the lip" if separation.kind == "lip" else ""
    return f"{separation.evidence} by {separation.gap:g}{when}"


def _shared_cells(shared: SharedPart) -> tuple[str, ...]:
    return shared.axle, shared.kind, shared.part, ", ".join(shared.packages)


def _table(header: tuple[str, ...], rows: Iterator[tuple[str, ...]]) -> list[str]:
    """Return aligned lines, or a line that says that there is nothing."""
    cells = [header, *rows]
    if len(cells) == 1:
        return ["  none"]
    widths = [max(len(row[column]) for row in cells) for column in range(len(header))]
    padded = ["  ".join(cell.ljust(width) for cell, width in zip(row, widths, strict=True)) for row in cells]
    return [f"  {line.rstrip()}" for line in padded]
