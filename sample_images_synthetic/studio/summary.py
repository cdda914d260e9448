"""What a set holds, and a contact sheet of it: ``python -m … .summary SET [--rendered] [--sheet OUT.jpg]``."""

import argparse
import json
import sys
from collections import Counter
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import Any

import numpy as np
from PIL import Image, ImageDraw, ImageOps

HERE = Path(__file__).resolve().parent.parent
TILE_PX, COLUMNS = 320, 8
Row = dict[str, Any]

COUNTED: dict[str, Callable[[Row], Any]] = {
    "group": lambda r: r["group"],
    "reference": lambda r: f"{r['reference']['kind']} {r['reference']['lies'] or ''}".strip(),
    "surface": lambda r: r["rotor"] and r["rotor"]["surface"],
    "construction": lambda r: r["rotor"] and r["rotor"]["construction"],
    "ventilation": lambda r: r["rotor"] and r["rotor"]["ventilation"],
    "bolts": lambda r: r["rotor"] and r["rotor"]["bolt_count"],
    "hat": lambda r: r["hat"],
    "ground": lambda r: r["made"]["ground"],
    "light": lambda r: r["made"]["light"],
    "expected codes": lambda r: " ".join(r["expect_codes"]) or None,
    "messenger's copy": lambda r: r["made"]["copy"],
    "EXIF orientation": lambda r: r["made"]["orientation"],
    "clutter": lambda r: bool(r["made"]["props"]),
}
MEASURED: dict[str, Callable[[Row], Any]] = {
    "diameter, mm": lambda r: r["rotor"] and r["rotor"]["diameter_mm"],
    "thickness, mm": lambda r: r["rotor"] and r["rotor"]["thickness_mm"],
    "wear of a face, mm": lambda r: r["rotor"] and (r["rotor"]["thickness_mm"] - r["rotor"]["swept_thickness_mm"]) / 2,
    "height, mm": lambda r: r["rotor"] and r["rotor"]["height_mm"],
    "bore, mm": lambda r: r["rotor"] and r["rotor"]["centre_bore_mm"],
    "bolt circle, mm": lambda r: r["rotor"] and r["rotor"]["bolt_circle_mm"],
    "focal length, mm of 35": lambda r: r["camera"]["f35"],
    "tilt (not edge), deg": lambda r: r["camera"]["tilt_deg"] if r["group"] != "edge" else None,
    "distance, mm": lambda r: r["camera"]["distance_mm"],
    "k1": lambda r: r["camera"]["k1"],
    "rim's width, px": lambda r: np.ptp([x for x, _ in r["rim_px"]]) if r["rim_px"] else None,
    "megapixels": lambda r: r["camera"]["width"] * r["camera"]["height"] / 1e6,
    "exposure, EV": lambda r: r["made"]["development"]["exposure_ev"],
    "noise": lambda r: r["made"]["development"]["noise"],
    "JPEG quality": lambda r: r["made"]["quality"],
    "seconds to build": lambda r: r["made"]["seconds"]["build"],
    "seconds to render": lambda r: r["made"]["seconds"]["render"],
    "seconds to develop": lambda r: r["made"]["seconds"]["develop"],
}


def main(arguments: list[str] | None = None) -> int:
    """Run the command."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("set", choices=("first", "fitting", "checking"))
    parser.add_argument("--rendered", action="store_true", help="the whole set rendered here, not the committed part")
    parser.add_argument("--sheet", type=Path, help="write a contact sheet, with rim and reference drawn in")
    args = parser.parse_args(arguments)
    folder = HERE / "rendered" / args.set if args.rendered else HERE / args.set
    rows = json.loads((folder / "truth.json").read_text())
    print("\n".join(lines(rows)))
    if args.sheet:
        contact_sheet(folder, rows).save(args.sheet, quality=85)
    return 0


def lines(rows: list[Row]) -> Iterator[str]:
    """Give the distribution of each parameter, a line each."""
    yield f"{len(rows)} photos"
    for name, of in COUNTED.items():
        counts = Counter(of(row) for row in rows)
        counts.pop(None, None)
        yield f"{name:24} " + ", ".join(f"{key} {count}" for key, count in counts.most_common())
    yield f"{'':24} {'least':>9} {'5 %':>9} {'median':>9} {'95 %':>9} {'most':>9}"
    for name, value in MEASURED.items():
        values = [v for v in map(value, rows) if v is not None]
        yield f"{name:24} " + " ".join(f"{q:9.4g}" for q in np.quantile(values, [0, 0.05, 0.5, 0.95, 1]))


def contact_sheet(folder: Path, rows: list[Row]) -> Image.Image:
    """Lay all photos out small, the rim in red and the reference in green."""
    sheet = Image.new("RGB", (COLUMNS * TILE_PX, -(-len(rows) // COLUMNS) * TILE_PX))
    for i, row in enumerate(rows):
        sheet.paste(tile(folder, row), (i % COLUMNS * TILE_PX, i // COLUMNS * TILE_PX))
    return sheet


def tile(folder: Path, row: Row) -> Image.Image:
    """Shrink one photo and draw its truth and its id on it."""
    with Image.open(folder / row["file"]) as image:
        small = ImageOps.exif_transpose(image).convert("RGB")
    scale = TILE_PX / max(small.size)
    small.thumbnail((TILE_PX, TILE_PX))
    pen = ImageDraw.Draw(small)
    for key, colour in (("rim_px", "red"), ("reference_px", "lime")):
        pen.point([(x * scale, y * scale) for x, y in row[key]], fill=colour)
    pen.text((4, 4), f"{row['id']} {row['reference']['kind']}", fill="yellow")
    return small


if __name__ == "__main__":
    sys.exit(main())
