"""Invents catalogues of any size, for benchmarks and simulations: ``python -m catalogue.generate FOLDER``.

Lines share a hub, packages of a line share parts, models of a line share packages, and some cells stay empty, as in
catalogues of the trade. Names are numbers, so that they resemble nobody's.
"""

import argparse
import csv
import random
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from catalogue.columns import COLUMNS
from catalogue.schema import AXLES, SURFACES, VENTILATIONS, YES_NO

Row = dict[str, object]
Hub = tuple[int, float, float]

FITMENTS_A_MODEL = 6
MODELS_A_LINE = 8
PACKAGES_A_LINE = 12
NEW_ROTOR_SHARE = {"front": 0.7, "rear": 0.35}
"""How often a package brings a rotor that no other of its line has; rear rotors are shared more often."""

OTHER_FACE_SHARE = 0.2
"""How often a new rotor is an old one with another face."""

MID_YEAR_SHARE = 0.15
"""How often a model changes a package in mid-year."""

EMPTY_CELL_SHARE = 0.05
HUBS = ((4, 100.0, 54.0), (5, 100.0, 57.0), (5, 108.0, 63.0), (5, 112.0, 66.0), (5, 114.3, 67.0), (5, 120.0, 72.0))
"""Bolt holes, pitch circle and centre bore, mm; common practice, bores rounded."""

SURFACE_WEIGHTS = {"front": (60, 12, 14, 8, 3, 3), "rear": (85, 5, 7, 1, 1, 1)}
SIZES_MM = {"front": ((280, 390), (22, 36)), "rear": ((255, 350), (9, 26))}
"""Diameter and thickness, smallest and largest."""

MATERIAL_WEIGHTS = {"iron": 85, "coated": 15}
SOLID_UP_TO_MM = 14
MASS_KG_PER_MM3 = {True: 5.0e-6, False: 8.5e-6}
"""Mass over thickness and squares of the diameters, vented and solid: an iron ring and a hat on top."""

STILL_MADE_FROM = 2026
"""A model whose last year would be this or later is still made."""

MAY_BE_EMPTY = ("min_thickness_mm", "machine_to_mm", "height_mm", "ring_inner_mm", "hat_mm", "mass_kg", "marks")


@dataclass
class Draft:
    """The rows of a catalogue in the making, by file."""

    rows: dict[str, list[Row]] = field(default_factory=lambda: {file: [] for file in COLUMNS})

    def add(self, file: str, **cells: object) -> Row:
        """Add a row and return it."""
        self.rows[file].append(cells)
        return cells


def generate_catalogue(folder: Path, *, fitments: int, seed: int) -> None:
    """Write a catalogue's CSV files into ``folder``.

    Parameters
    ----------
    folder : Path
        Made where it isn't there; files of a catalogue in it are replaced.
    fitments : int
        How many; at least 1.
    seed : int
        The same seed and number write the same files.

    Raises
    ------
    ValueError
        For less than one fitment.
    """
    if fitments < 1:
        raise ValueError(f"fitments: needs a whole number of at least 1, got {fitments}")
    write_catalogue(folder, _draft(fitments, random.Random(seed)).rows)


def write_catalogue(folder: Path, rows: Mapping[str, Sequence[Mapping[str, object]]]) -> None:
    """Write rows as the contract's CSV files.

    Parameters
    ----------
    folder : Path
        Made where it isn't there.
    rows : mapping of file name to rows
        A cell that a row lacks stays empty.
    """
    folder.mkdir(parents=True, exist_ok=True)
    for file, columns in COLUMNS.items():
        with (folder / file).open("w", newline="", encoding="utf-8") as handle:
            writer = csv.DictWriter(handle, [column.name for column in columns], lineterminator="\n")
            writer.writeheader()
            writer.writerows(rows.get(file, ()))


def _draft(fitments: int, chance: random.Random) -> Draft:
    draft = Draft()
    while len(draft.rows["fitments.csv"]) < fitments:
        _add_line(draft, chance, f"L{len(draft.rows['calipers.csv']) // 4 + 1:05d}")
    del draft.rows["fitments.csv"][fitments:]
    return draft


def _add_line(draft: Draft, chance: random.Random, line: str) -> None:
    """Add a line with its parts, packages and models."""
    hub = chance.choice(HUBS)
    calipers = [_caliper(draft, chance, f"{line}-C{number}") for number in range(1, 5)]
    parts: dict[str, list[tuple[Row, Row]]] = {"front": [], "rear": []}
    packages = [f"{line}-P{number:02d}" for number in range(1, PACKAGES_A_LINE + 1)]
    for package in packages:
        for axle in AXLES:
            rotor, pads = _rotor_and_pads(draft, chance, f"{line}-{axle[0].upper()}", (axle, hub, parts[axle]))
            caliper = calipers[int(axle == "rear") * 2 + chance.randrange(2)]
            wheel_in = int(_number(rotor["diameter_mm"]) / 25.4) + 4
            draft.add(
                "packages.csv", package=package, package_name=f"Brake {package[-2:]}", axle=axle, rotor=rotor["part"],
                pads=pads["part"], caliper=caliper["caliper"], min_wheel_in=wheel_in,
            )  # fmt: skip
        draft.add("extras.csv", package=package, axle="front", kind="wear sensor", part=f"{package}-W", quantity=1)
    for number in range(1, MODELS_A_LINE + 1):
        _add_model(draft, chance, (line, f"{line}-M{number}"), packages)


def _caliper(draft: Draft, chance: random.Random, key: str) -> Row:
    rear = int(key[-1]) > 2
    mount = "floating" if rear or chance.random() < 0.5 else "fixed"
    pistons = chance.choice((1, 2)) if mount == "floating" else chance.choice((4, 6))
    brake = chance.choice(("cable", "electric", "drum-in-hat")) if rear else "none"
    return draft.add("calipers.csv", caliper=key, mount=mount, pistons=pistons, parking_brake=brake, colours="grey;red")


def _rotor_and_pads(
    draft: Draft, chance: random.Random, stem: str, place: tuple[str, Hub, list[tuple[Row, Row]]]
) -> tuple[Row, Row]:
    """Return a rotor and its pads: new ones, or those of another package of the line."""
    axle, hub, known = place
    if known and chance.random() > NEW_ROTOR_SHARE[axle]:
        return chance.choice(known)
    part = f"{stem}R{len(known) + 1}"
    if known and chance.random() < OTHER_FACE_SHARE:
        old, pads = chance.choice(known)
        rotor = {**old, "part": part, "surface": chance.choice(SURFACES), "marks": f"{part} 77"}
    else:
        rotor = _rotor(chance, part, axle, hub)
        pads = _pads(draft, chance, rotor)
    known.append((draft.add("rotors.csv", **rotor), pads))
    return known[-1]


def _pads(draft: Draft, chance: random.Random, rotor: Row) -> Row:
    width_mm = (_number(rotor["diameter_mm"]) * 0.175) // 0.1 / 10
    part = f"{rotor['part']}-B"
    return draft.add(
        "pads.csv",
        part=part,
        height_mm=round(width_mm - 2, 1),
        length_mm=round(width_mm * chance.uniform(2.3, 2.8), 1),
        thickness_mm=round(chance.uniform(14, 20), 1),
        wear_sensor=chance.choice(YES_NO),
        shape_number=f"S{chance.randrange(10000):04d}",
        marks=f"{part} 88",
    )


def _rotor(chance: random.Random, part: str, axle: str, hub: Hub) -> Row:
    (least_mm, most_mm), (thin_mm, thick_mm) = SIZES_MM[axle]
    size = chance.random()
    diameter_mm = round(least_mm + size * (most_mm - least_mm))
    thickness_mm = round(min(max(thin_mm + (size + chance.gauss(0, 0.2)) * (thick_mm - thin_mm), thin_mm), thick_mm))
    minimum_mm = thickness_mm - chance.choice((1.0, 1.5, 2.0, 2.0, 2.0))
    inner_mm = round(diameter_mm * (1 - 2 * chance.uniform(0.16, 0.185)))
    bolts, circle_mm, bore_mm = hub
    vented = thickness_mm > SOLID_UP_TO_MM
    row: Row = {
        "part": part,
        "diameter_mm": diameter_mm,
        "thickness_mm": thickness_mm,
        "min_thickness_mm": minimum_mm,
        "machine_to_mm": round(minimum_mm + 0.4, 1),
        "height_mm": round(thickness_mm + chance.uniform(20, 40), 1),
        "centre_bore_mm": bore_mm,
        "bolt_count": bolts,
        "bolt_circle_mm": circle_mm,
        "ring_inner_mm": inner_mm,
        "hat_mm": max(inner_mm - chance.randrange(12, 40), round(circle_mm) + 25),
        "ventilation": VENTILATIONS[vented],
        "construction": "two-piece" if axle == "front" and chance.random() < size - 0.5 else "one-piece",
        "surface": chance.choices(SURFACES, SURFACE_WEIGHTS[axle])[0],
        "material": chance.choices(tuple(MATERIAL_WEIGHTS), tuple(MATERIAL_WEIGHTS.values()))[0],
        "mass_kg": round(MASS_KG_PER_MM3[vented] * thickness_mm * (diameter_mm**2 - inner_mm**2), 1),
        "marks": f"{part} 66",
    }
    emptied = [name for name in MAY_BE_EMPTY if chance.random() < EMPTY_CELL_SHARE]
    return {**row, **dict.fromkeys(emptied, "")}


def _add_model(draft: Draft, chance: random.Random, names: tuple[str, str], packages: Sequence[str]) -> None:
    line, model = names
    first = chance.randrange(2008, 2022)
    last = first + chance.randrange(3, 9)
    years: Row = {"year_from": first, "year_to": last if last < STILL_MADE_FROM else ""}
    cars = chance.randrange(2, 200) * 1000
    chosen = chance.sample(list(packages), FITMENTS_A_MODEL)
    months = _months(chance, first + 1)
    weights = [chance.gammavariate(1, 1) for _ in chosen]
    for number, (package, share) in enumerate(zip(chosen, _shares(weights), strict=True)):
        offered = "standard" if number == 0 else chance.choices(("optional", "dealer"), (9, 1))[0]
        draft.add(
            "fitments.csv", line=line, model=model, **years, **months.get(number, {}), package=package,
            option_code="" if offered == "dealer" else f"K{package[-2:]}", offered=offered,
            share="" if chance.random() < EMPTY_CELL_SHARE else share, cars=cars,
        )  # fmt: skip


def _months(chance: random.Random, year: int) -> dict[int, Row]:
    """Return the months of a change in mid-year between a model's first two packages, on some models."""
    if chance.random() > MID_YEAR_SHARE:
        return {}
    month = chance.randrange(2, 13)
    return {0: {"built_to": f"{year}-{month - 1:02d}"}, 1: {"built_from": f"{year}-{month:02d}"}}


def _number(cell: object) -> float:
    return float(str(cell))


def _shares(weights: Sequence[float]) -> Iterator[float]:
    total = sum(weights)
    return (round(weight / total, 4) for weight in weights)


def main(arguments: Sequence[str] | None = None) -> None:
    """Write a catalogue from the command line."""
    parser = argparse.ArgumentParser(description="Invent a catalogue of any size.")
    parser.add_argument("folder", type=Path)
    parser.add_argument("--fitments", type=int, default=1000)
    parser.add_argument("--seed", type=int, default=0)
    options = parser.parse_args(arguments)
    generate_catalogue(options.folder, fitments=options.fitments, seed=options.seed)


if __name__ == "__main__":
    main()
