"""Read the strips that `fit_rim_look` trains on: ``python -m tests.fitting.rim_strips FITTING STRIPS``.

FITTING is a folder of sample photos with its ``truth.json``; STRIPS one for what is read. Every photo gives a wide
strip along its true rim, which training bends, and narrow ones along other circles that its edges suggest.
"""

import argparse
import json
from collections.abc import Mapping
from concurrent.futures import ProcessPoolExecutor
from functools import partial
from pathlib import Path
from typing import Any

import cv2
import numpy as np

from tests.fitting.cut_examples import FOLDS
from vision.ellipse import Ellipse
from vision.measurement import FloatArray
from vision.rim_look import COLUMNS, FINER, REACH, STEP, strip
from vision.rotor import TRIED, families
from vision.sketch import sketched_ellipses

# Rows of a wide strip, and the share of its circle's radius that they reach to either side.
WIDE_ROWS = 150
WIDE_REACH = WIDE_ROWS * STEP / 2
LEAST_RADIUS_PX, QUALITY, OTHERS = 50.0, 80, 3


def main() -> None:
    """Read all strips."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("fitting", type=Path)
    parser.add_argument("strips", type=Path)
    parser.add_argument("--jobs", type=int, default=2)
    args = parser.parse_args()
    args.strips.mkdir(parents=True, exist_ok=True)
    rows = list(enumerate(row for row in json.loads((args.fitting / "truth.json").read_text()) if row["group"] != "edge"))
    with ProcessPoolExecutor(args.jobs) as pool:
        read = partial(read_strips, folder=args.fitting, out=args.strips)
        offsets = dict(pair for pairs in pool.map(read, rows, chunksize=8) for pair in pairs)
    np.savez_compressed(args.strips / "offsets", **offsets)
    print(len(offsets), "strips of", len(rows), "photos")


def read_strips(numbered: tuple[int, Mapping[str, Any]], folder: Path, out: Path) -> list[tuple[str, FloatArray]]:
    """Read one photo's strips; the fold that its number falls in begins their names. Returns the rim's offsets."""
    number, row = numbered
    cv2.setNumThreads(1)
    bgr = np.asarray(cv2.imread(str(folder / row["file"])), np.uint8)
    rim = np.array(row["rim_px"] or [], float).reshape(-1, 2)
    strips: list[tuple[str, Ellipse, int]] = []
    true = Ellipse.through(rim) if len(rim) else None
    if true is not None and true.radius_px > LEAST_RADIUS_PX:
        strips.append(("true", true, WIDE_ROWS))
    for other, ellipse in enumerate(_suggested(bgr)):
        strips.append((f"other{other}", ellipse, round(2 * REACH / STEP)))
    found: list[tuple[str, FloatArray]] = []
    for kind, ellipse, rows in strips:
        name = f"{number % FOLDS}_{row['id']}_{kind}"
        levels = strip(bgr, ellipse.points(720), ellipse.radius_px, rows)
        cv2.imwrite(str(out / f"{name}.jpg"), levels, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
        found.append((name, rim_offsets(ellipse, rim, bgr.shape[1::-1])))
    return found


def _suggested(bgr: Any) -> list[Ellipse]:
    grey = cv2.cvtColor(bgr, cv2.COLOR_BGR2GRAY)
    groups = families(sketched_ellipses(grey), min(grey.shape))[:TRIED]
    return [group.outer for group in groups if group.outer.radius_px > LEAST_RADIUS_PX][:OTHERS]


def rim_offsets(ellipse: Ellipse, rim_px: FloatArray, size: tuple[int, ...]) -> FloatArray:
    """Return how far outward of an ellipse the rim runs, over its radius, (COLUMNS,); NaN where it is not in the photo.

    Parameters
    ----------
    ellipse : Ellipse
    rim_px : (N, 2) ndarray
        Points round the rim, in order.
    size : (int, int)
        The photo's width and height.
    """
    offsets = np.full(COLUMNS, np.nan)
    if not len(rim_px):
        return offsets
    foot, normal = (part[FINER // 2 :: FINER] for part in ellipse.points(COLUMNS * FINER))
    at = np.linspace(0, len(rim_px), 12 * len(rim_px), endpoint=False)
    closed = np.vstack([rim_px, rim_px[:1]])
    rim = np.stack([np.interp(at, np.arange(len(closed)), part) for part in closed.T], axis=1)
    away = rim[None] - foot[:, None]
    along = (away * normal[:, None]).sum(axis=2)
    across = away[..., 0] * -normal[:, None, 1] + away[..., 1] * normal[:, None, 0]
    following = np.roll(across, -1, axis=1)
    inside = ((rim > 1) & (rim < np.array(size) - 2)).all(axis=1)
    crosses = (across * following <= 0) & (np.abs(along) < 2 * WIDE_REACH * ellipse.radius_px) & inside
    nearest = np.where(crosses, np.abs(along), np.inf).argmin(axis=1)
    columns = np.arange(COLUMNS)
    found = crosses[columns, nearest]
    offsets[found] = along[columns, nearest][found] / ellipse.radius_px
    return offsets


if __name__ == "__main__":
    main()
