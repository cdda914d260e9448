"""The diameter from one photo, by this project and by the recipes of `glued`: error, refusals and time, side by side.

``python -m tests.benchmarks.measuring [FOLDER] [--only WORD]`` prints tables in Markdown for a set of photos with truth
(``sample_images_synthetic/checking`` by default): errors by reference, then processor time as a multiple of decoding
the same file, one core, the peak memory of a process that measures one photo of 12 megapixels, and this project's own
errors over what each photo's geometry allows, messengers' copies apart.
"""

import argparse
import json
import resource
import subprocess
import sys
import time
from collections import defaultdict
from collections.abc import Callable, Mapping
from functools import partial
from itertools import product
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from threadpoolctl import threadpool_limits

from tests.benchmarks.glued import RECIPES, Sight
from vision import Request, measure_face, read_photo
from vision.measurement import Measurement
from vision.references.parse import parse_kind

CHECKING = Path(__file__).parents[2] / "sample_images_synthetic" / "checking"
FAMILIES = ("tag", "card", "coin")
OURS = "whichrotor"
LARGE_PX = 10e6
MEMORY = "--memory"


def kind_of(row: Mapping[str, Any]) -> str:
    """Return the reference as it is named on the command line."""
    reference = row["reference"]
    if reference["kind"] == "bolt-circle":
        return f"bolt-circle:{row['rotor']['bolt_circle_mm']:g}"
    if reference["kind"] == "coin":
        return f"coin:{reference['detail']}"
    return "auto" if reference["kind"] == "none" else str(reference["kind"])


def wanted(rows: list[dict[str, Any]], only: str) -> list[dict[str, Any]]:
    """Return the photos that ought to be measured by something that lies on the face."""
    return [
        row
        for row in rows
        if row["expect"] == "measured"
        and row["group"] in ("face-on", "on-car")
        and row["reference"]["kind"] in FAMILIES
        and row["reference"]["lies"] == "face"
        and only in f"{row['id']} {row['reference']['kind']}"
    ]


def measured(path: Path, row: dict[str, Any]) -> Measurement:
    """Measure a photo as the command line does."""
    return measure_face(
        read_photo(path), Request(kind_of(row), "face", lift_mm=float(row["told"].get("lift_mm") or 0.0))
    )


def own_diameter_mm(path: Path, row: dict[str, Any]) -> float | None:
    """Return the diameter that this project measures."""
    diameter = measured(path, row).dimensions.get("diameter_mm")
    return None if diameter is None else float(diameter.nominal_value)


def glued_diameter_mm(path: Path, row: dict[str, Any], recipe: Callable[[Sight], float | None]) -> float | None:
    """Decode a photo and measure it by a recipe, which is shown the reference."""
    bgr = cv2.imread(str(path))
    assert bgr is not None
    outline = np.array(row["reference_px"], float)
    outline = outline[:4] if row["reference"]["kind"] != "coin" else outline
    return recipe(Sight(np.asarray(bgr, np.uint8), parse_kind(kind_of(row)), outline))


def timed(work: Callable[[], Any]) -> tuple[Any, float]:
    """Return what a piece of work returns, and its processor time in seconds."""
    start = time.process_time()
    return work(), time.process_time() - start


def trials(folder: Path, rows: list[dict[str, Any]]) -> dict[str, list[tuple[str, float, float]]]:
    """Return for each way (reference, error in % or NaN, time over decoding) of each photo."""
    found: dict[str, list[tuple[str, float, float]]] = defaultdict(list)
    for row in rows:
        path, true_mm = folder / row["file"], row["rotor"]["diameter_mm"]
        packed = np.frombuffer(path.read_bytes(), np.uint8)
        decode_s = min(timed(partial(cv2.imdecode, packed, cv2.IMREAD_COLOR))[1] for _ in range(3))
        ways = {OURS: partial(own_diameter_mm, path, row)}
        ways |= {name: partial(glued_diameter_mm, path, row, recipe) for name, recipe in RECIPES.items()}
        for name, work in ways.items():
            diameter_mm, took_s = timed(work)
            error = np.nan if diameter_mm is None else 100 * abs(diameter_mm / true_mm - 1)
            found[name].append((row["reference"]["kind"], float(error), took_s / decode_s))
    return found


def print_tables(found: dict[str, list[tuple[str, float, float]]]) -> None:
    """Print errors by reference, and times."""
    print("| way | " + " | ".join(f"{family}: median / 95 % (none)" for family in FAMILIES) + " | time, decodes |")
    print("| --- |" + " --- |" * (len(FAMILIES) + 1))
    for name, rows in found.items():
        cells = [_cell([error for kind, error, _ in rows if kind == family]) for family in FAMILIES]
        print(f"| {name} | " + " | ".join(cells) + f" | {np.median([took for *_, took in rows]):.1f} |")


def _cell(errors: list[float]) -> str:
    known = [error for error in errors if np.isfinite(error)]
    if not known:
        return "-"
    return f"{np.median(known):.2f} / {np.percentile(known, 95):.2f} ({len(errors) - len(known)} of {len(errors)})"


def print_floors(folder: Path, rows: list[dict[str, Any]]) -> None:
    """Print errors over the photos' own floors, and what errors there are, of originals and of copies."""
    print("\n| photos | reference | measured | median / 95 % | error over its floor: rms, median | inside 95 % |")
    print("| --- |" + " --- |" * 5)
    for is_copy, family in product((False, True), FAMILIES):
        errors = [
            (answer.dimensions["diameter_mm"] - row["rotor"]["diameter_mm"], answer.details["diameter_floor_mm"], row)
            for row in rows
            if bool(row["made"]["copy"]) == is_copy and row["reference"]["kind"] == family
            for answer in [measured(folder / row["file"], row)]
            if not answer.refused
        ]
        if errors:
            share = np.array([100 * error.nominal_value / row["rotor"]["diameter_mm"] for error, _, row in errors])
            over = np.array([error.nominal_value / floor_mm for error, floor_mm, _ in errors])
            inside = np.mean([abs(error.nominal_value) < 1.96 * error.std_dev for error, _, _ in errors])
            print(
                f"| {'copies' if is_copy else 'originals'} | {family} | {len(errors)} "
                f"| {np.median(abs(share)):.2f} / {np.percentile(abs(share), 95):.2f} "
                f"| {np.sqrt(np.mean(over**2)):.1f}, {np.median(abs(over)):.1f} | {inside:.0%} |"
            )


def peak_memory_mb(path: Path, kind: str) -> float:
    """Return the peak memory of a fresh process that measures one photo."""
    command = [sys.executable, "-m", "tests.benchmarks.measuring", MEMORY, str(path), kind]
    return float(subprocess.run(command, check=True, capture_output=True, text=True).stdout)


def main() -> None:
    """Print the tables."""
    if sys.argv[1:2] == [MEMORY]:
        measure_face(read_photo(Path(sys.argv[2])), Request(sys.argv[3]))
        print(resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024)
        return
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("folder", type=Path, nargs="?", default=CHECKING)
    parser.add_argument("--only", default="")
    args = parser.parse_args()
    cv2.setNumThreads(1)
    threadpool_limits(1)
    rows = wanted(json.loads((args.folder / "truth.json").read_text("utf-8")), args.only)
    print_tables(trials(args.folder, rows))
    print_floors(args.folder, rows)
    large = [row for row in rows if row["camera"]["width"] * row["camera"]["height"] > LARGE_PX]
    if large:
        print("\n12 megapixels:\n")
        print_tables(trials(args.folder, large))
        peaks = [f"{peak_memory_mb(args.folder / row['file'], kind_of(row)):.0f}" for row in large]
        print("\nPeak memory, MB: " + ", ".join(peaks))


if __name__ == "__main__":
    main()
