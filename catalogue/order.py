"""The order sheet: what the settled parts bring along, sides and sets, alternatives, cautions and care."""

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any

from uncertainties import UFloat, ufloat

from catalogue.care import CAUTIONS, CareNote, CareSubject, care_notes
from catalogue.mass import mass_from_geometry
from catalogue.schema import AXLES, UNKNOWN, Alternative, Catalogue, Extra, Rotor

ROTORS_AN_AXLE = 2
CATALOGUE_MASS_STD_KG = 0.1
"""How far a catalogue's mass may be off, kg; common practice."""


@dataclass(frozen=True, slots=True)
class SettledAxle:
    """What an identification leaves of one axle.

    Attributes
    ----------
    axle : {"front", "rear"}
    packages : tuple of str
        Packages still possible there, likeliest first.
    rotor, pads : str or None
        Part numbers that are settled and wanted; None where open or not wanted.
    """

    axle: str
    packages: tuple[str, ...]
    rotor: str | None = None
    pads: str | None = None


@dataclass(frozen=True, slots=True)
class OrderLine:
    """One line to order.

    Attributes
    ----------
    what : str
        rotor, rotor left, rotor right, pads, or the extra's kind.
    part : str
    quantity : int or None
        None where the catalogue doesn't say.
    note : str
    only_with : tuple of str
        Packages that the line belongs to, where not every package still possible has it; empty: it belongs to all.
    """

    what: str
    part: str
    quantity: int | None
    note: str = ""
    only_with: tuple[str, ...] = ()

    def to_json(self) -> dict[str, Any]:
        """Return the wire form; what is empty is left out."""
        answer = {
            "what": self.what,
            "part": self.part,
            "quantity": self.quantity,
            "note": self.note,
            "only_with": list(self.only_with),
        }
        return {key: value for key, value in answer.items() if value not in (None, "", [])}


@dataclass(frozen=True, slots=True)
class AxleOrder:
    """One axle of the sheet.

    Attributes
    ----------
    axle : str
    lines : tuple of OrderLine
        Rotors by side, pads by the set, then the extras.
    alternatives : tuple of Alternative
        Parts that may take the place of a settled one.
    open_questions : tuple of str
        What must be settled before it may be ordered.
    care : tuple of CareNote
    mass_kg : UFloat or None
        Both rotors for the parcel, kg.
    """

    axle: str
    lines: tuple[OrderLine, ...]
    alternatives: tuple[Alternative, ...]
    open_questions: tuple[str, ...]
    care: tuple[CareNote, ...]
    mass_kg: UFloat | None

    def to_json(self) -> dict[str, Any]:
        """Return the wire form."""
        answer: dict[str, Any] = {
            "axle": self.axle,
            "lines": [line.to_json() for line in self.lines],
            "alternatives": [_alternative_json(alternative) for alternative in self.alternatives],
            "open": list(self.open_questions),
            "care": [note.to_json() for note in self.care],
        }
        if self.mass_kg is not None:
            value, std = self.mass_kg.nominal_value, self.mass_kg.std_dev
            answer["rotors_mass_kg"] = {"value": round(value, 1), "std": round(std, 1)}
        return answer


@dataclass(frozen=True, slots=True)
class OrderSheet:
    """What may be ordered now."""

    axles: tuple[AxleOrder, ...] = ()
    cautions: tuple[str, ...] = field(default=CAUTIONS)

    def to_json(self) -> dict[str, Any]:
        """Return the wire form."""
        return {"axles": [axle.to_json() for axle in self.axles], "cautions": list(self.cautions)}


def order_sheet(catalogue: Catalogue, axles: Sequence[SettledAxle]) -> OrderSheet:
    """Put together what the settled parts bring along.

    Parameters
    ----------
    catalogue : Catalogue
    axles : sequence of SettledAxle
        Those with a settled part; one without is passed over.

    Returns
    -------
    OrderSheet
        Empty of axles where nothing is settled; the cautions are always there.

    Raises
    ------
    ValueError
        For a package or axle that the catalogue doesn't have, or a settled part that none of the packages has.
    """
    return OrderSheet(tuple(_axle_order(catalogue, settled) for settled in axles if settled.rotor or settled.pads))


def _axle_order(catalogue: Catalogue, settled: SettledAxle) -> AxleOrder:
    rows = _package_rows(catalogue, settled)
    rotor_lines, rotors, open_questions = _rotor_lines(catalogue, settled, rows)
    pad_lines = [OrderLine("pads", settled.pads, 1, "the axle's set")] if settled.pads else []
    extras = _extra_lines(catalogue, settled.axle, tuple(rows))
    parts = [line.part for line in (*rotor_lines, *pad_lines)]
    by_replaced = _alternatives(catalogue)
    return AxleOrder(
        settled.axle,
        (*rotor_lines, *pad_lines, *extras),
        tuple(alternative for part in parts for alternative in by_replaced.get(part, ())),
        tuple(open_questions),
        care_notes(_care_subject(catalogue, settled, list(rows.values()), extras)),
        _parcel_kg(rotors),
    )


def _package_rows(catalogue: Catalogue, settled: SettledAxle) -> dict[str, int]:
    """Return the row of each package that has the settled parts on that axle."""
    packages = catalogue.packages
    axle = AXLES.index(settled.axle)
    rows = {key: int(packages.row[packages.index[key], axle]) for key in settled.packages if key in packages.index}
    wanted = {
        key: row
        for key, row in rows.items()
        if row != UNKNOWN
        and settled.rotor in (None, catalogue.rotors.part[packages.rotor[row]])
        and settled.pads in (None, catalogue.pads.part[packages.pads[row]])
    }
    if not wanted:
        parts = " and ".join(part for part in (settled.rotor, settled.pads) if part)
        raise ValueError(f"packages: none of {', '.join(settled.packages)} has {parts} on its {settled.axle} axle")
    return wanted


def _rotor_lines(
    catalogue: Catalogue, settled: SettledAxle, rows: dict[str, int]
) -> tuple[list[OrderLine], list[Rotor], list[str]]:
    """Return the rotors by side, the two as records, and what is open about them."""
    if settled.rotor is None:
        return [], [], []
    left = catalogue.rotors.row(catalogue.rotors.index[settled.rotor])
    rights = sorted({int(catalogue.packages.rotor_right[row]) for row in rows.values()})
    if rights == [UNKNOWN]:
        return [OrderLine("rotor", left.part, ROTORS_AN_AXLE, "a pair, the same on both sides")], [left, left], []
    lines = [OrderLine("rotor left", left.part, 1)]
    if len(rights) > 1:
        parts = [left.part if row == UNKNOWN else catalogue.rotors.part[row] for row in rights]
        return lines, [left], [f"The right rotor depends on the package: {' or '.join(parts)}."]
    right = catalogue.rotors.row(rights[0])
    return [*lines, OrderLine("rotor right", right.part, 1)], [left, right], []


def _extra_lines(catalogue: Catalogue, axle: str, packages: tuple[str, ...]) -> tuple[OrderLine, ...]:
    """Return the extras of the packages still possible, each once, with those that only some of them have marked."""
    holders: dict[tuple[str, str, int | None, str], list[str]] = {}
    for package in packages:
        for extra in _extras(catalogue).get((package, axle), ()):
            holders.setdefault((extra.kind, extra.part, extra.quantity, extra.note), []).append(package)
    return tuple(
        OrderLine(kind, part, quantity, note, () if len(having) == len(packages) else tuple(having))
        for (kind, part, quantity, note), having in holders.items()
    )


def _care_subject(
    catalogue: Catalogue, settled: SettledAxle, rows: list[int], extras: Iterable[OrderLine]
) -> CareSubject:
    """Return what holds for every package still possible."""
    packages = catalogue.packages
    calipers = [catalogue.calipers.row(int(packages.caliper[row])) for row in rows]
    rotors = [catalogue.rotors.row(int(packages.rotor[row])) for row in rows]
    pads = [catalogue.pads.row(int(packages.pads[row])) for row in rows]
    sensor = _agreed([each.wear_sensor for each in pads])
    brought = any(line.what == "wear sensor" and not line.only_with for line in extras)
    return CareSubject(
        mount=_agreed([caliper.mount for caliper in calipers]),
        parking_brake=_agreed([caliper.parking_brake for caliper in calipers]),
        wear_sensor=True if brought or sensor == "yes" else None if sensor is None else False,
        surface=_agreed([rotor.surface for rotor in rotors]),
        material=_agreed([rotor.material for rotor in rotors]),
        ordered=frozenset(name for name in ("rotor", "pads") if getattr(settled, name)),
    )


def _agreed(values: Sequence[str | None]) -> str | None:
    """Return what all say, or None."""
    return values[0] if len(set(values)) == 1 else None


def _parcel_kg(rotors: Sequence[Rotor]) -> UFloat | None:
    if len(rotors) != ROTORS_AN_AXLE:
        return None
    left, right = (_rotor_kg(rotor) for rotor in rotors)
    return 2 * left if rotors[0] == rotors[1] else left + right


def _rotor_kg(rotor: Rotor) -> UFloat:
    if rotor.mass_kg is None:
        return mass_from_geometry(rotor)
    return ufloat(rotor.mass_kg, CATALOGUE_MASS_STD_KG)


@lru_cache(maxsize=4)
def _extras(catalogue: Catalogue) -> dict[tuple[str, str], tuple[Extra, ...]]:
    """Return the extras by package and axle; kept, since a catalogue may have many."""
    found: dict[tuple[str, str], tuple[Extra, ...]] = {}
    for extra in catalogue.extras:
        found[extra.package, extra.axle] = (*found.get((extra.package, extra.axle), ()), extra)
    return found


@lru_cache(maxsize=4)
def _alternatives(catalogue: Catalogue) -> dict[str, tuple[Alternative, ...]]:
    """Return the alternatives by the part they replace."""
    found: dict[str, tuple[Alternative, ...]] = {}
    for alternative in catalogue.alternatives:
        found[alternative.replaces] = (*found.get(alternative.replaces, ()), alternative)
    return found


def _alternative_json(alternative: Alternative) -> dict[str, str]:
    answer = {"part": alternative.part, "replaces": alternative.replaces, "note": alternative.note}
    return answer if alternative.surface is None else {**answer, "surface": alternative.surface}
