"""Read the strips that `fit_outlines` trains on: ``python -m tests.fitting.outline_strips KIND FITTING STRIPS``.

KIND is rim, coin, rectangle, hole or bore; FITTING a folder of sample photos with its ``truth.json``; STRIPS one for
what is read. Every photo gives a wide strip along the true outline, which training bends, and narrow ones along other
curves that its edges suggest.
"""

import argparse
import json
from collections.abc import Callable, Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass, replace
from functools import partial
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from scipy.signal import resample

from tests.fitting.cut_examples import FOLDS
from tests.fitting.hub_labels import Hub
from tests.fitting.kinds import BLOCK, REACHES, TOLD, WIDE_ROWS
from tests.fitting.renders import references_px, request_of
from tests.vision.posed import face_of_truth
from vision import read_photo
from vision.band import Curve
from vision.edge_reference import upright_planes
from vision.ellipse import Ellipse
from vision.measurement import FloatArray
from vision.outline_look import COLUMNS, FINER, ROWS, strip
from vision.photo import Photo
from vision.references.coin import find_spots, limits_mm
from vision.references.floor import TILTS, Floor
from vision.references.parse import Lies, parse_kind
from vision.references.rectangle_look import Outline
from vision.references.search import Guess, Search, other_planes
from vision.rotor import TRIED, families, find_rotor
from vision.sketch import sketched_ellipses
from vision.trial import face_tags, floors_of

LEAST_SIZE_PX = {"rim": 50.0, "coin": 8.0, "rectangle": 15.0, "hole": 4.0, "bore": 20.0}
QUALITY, FINE, OTHERS = 80, 10, {"rim": 3, "coin": 8, "rectangle": 5, "hole": 2, "bore": 1}
# Of so many holes of a rotor at most, which look alike.
MOST_HOLES = 3
# Of photos without the reference every so many are read.
EVERY = 8
# Crossings of an outline count where it runs more along the curve than across.
LEAST_ACROSS = 0.7


@dataclass(frozen=True)
class Traced:
    """A curve and the size of what it goes round, pixels."""

    curve: Curve
    size_px: float

    def shifted(self, outward_px: float) -> "Traced":
        """Return the same so much farther outward."""
        foot, normal = self.curve
        return replace(self, curve=(foot + outward_px * normal, normal))

    @classmethod
    def round(cls, ellipse: Ellipse) -> "Traced":
        """Go round an ellipse."""
        return cls(ellipse.points(COLUMNS * FINER), ellipse.radius_px)

    @classmethod
    def straight(cls, outline: Outline) -> "Traced":
        """Go round a rectangle."""
        return cls(outline.curve, outline.size_px)


def main() -> None:
    """Read all strips."""
    read_all(
        str(__doc__), sorted(REACHES), lambda row, kind: kind == "rectangle" or row["group"] != "edge", read_strips
    )


Told = list[tuple[str, FloatArray]]


def read_all(
    doc: str, kinds: Sequence[str], wants: Callable[[Mapping[str, Any], str], bool], read: Callable[..., Told]
) -> None:
    """Run a command ``KIND FITTING STRIPS`` that reads strips of photos and writes what is told of them.

    Parameters
    ----------
    doc : str
    kinds : sequence of str
    wants : callable
        Whether a row of the truth is read for a kind.
    read : callable
        Reads a numbered row: called with ``kind``, ``folder`` and ``out``.
    """
    parser = argparse.ArgumentParser(description=doc)
    parser.add_argument("kind", choices=kinds)
    parser.add_argument("fitting", type=Path)
    parser.add_argument("strips", type=Path)
    parser.add_argument("--jobs", type=int, default=2)
    args = parser.parse_args()
    args.strips.mkdir(parents=True, exist_ok=True)
    rows = [row for row in json.loads((args.fitting / "truth.json").read_text()) if wants(row, args.kind)]
    with ProcessPoolExecutor(args.jobs) as pool:
        reading = partial(read, kind=args.kind, folder=args.fitting, out=args.strips)
        told = dict(pair for pairs in pool.map(reading, enumerate(rows), chunksize=8) for pair in pairs)
    np.savez_compressed(args.strips / TOLD, allow_pickle=False, **told)
    print(len(told), "strips of", len(rows), "photos")


def read_strips(
    numbered: tuple[int, Mapping[str, Any]], kind: str, folder: Path, out: Path
) -> list[tuple[str, FloatArray]]:
    """Read one photo's strips; the fold that its number falls in begins their names.

    Returns
    -------
    list of (str, (COLUMNS,) ndarray)
        Names, and how many rows from the middle the outline runs; NaN where it doesn't show.
    """
    number, row = numbered
    cv2.setNumThreads(1)
    if kind in ("hole", "bore"):
        return _hub_strips(numbered, kind, folder, out)
    there = kind == "rim" or _kind_of(row) == kind
    if not there and number % EVERY:
        return []
    photo = read_photo(folder / row["file"])
    outline = _true_outline(row, kind) if there else np.empty((0, 2))
    hidden = _rim(row) if row["reference"]["lies"] == "bench" and kind != "rim" else np.empty((0, 2))
    strips: list[tuple[str, Traced, int]] = []
    if len(outline):
        strips.append(("true", _true_trace(outline, kind), WIDE_ROWS))
    strips += [(f"other{n}", traced, ROWS) for n, traced in enumerate(SUGGESTED[kind](photo, row))]
    return _kept((number, row, kind), photo, out, [(*each, outline, hidden) for each in strips])


Strip = tuple[str, Traced, int, FloatArray, FloatArray]


def _hub_strips(
    numbered: tuple[int, Mapping[str, Any]], kind: str, folder: Path, out: Path
) -> list[tuple[str, FloatArray]]:
    """Read strips along a photo's bolt holes or its bore, and along circles of such sizes where there are none."""
    number, row = numbered
    if not row["rotor"]:
        return []
    face = face_of_truth(row)
    hub, rng = Hub.of(row, face), np.random.default_rng([0x40, number])
    outlines = hub.holes_px if kind == "hole" else [hub.bore_px][: len(hub.bore_px)]
    if not outlines:
        return []
    photo, cards = read_photo(folder / row["file"]), references_px(row)
    cover = np.concatenate(cards) if row["reference"]["lies"] == "hat" and cards else np.empty((0, 2))
    chosen = [outlines[which] for which in rng.permutation(len(outlines))[:MOST_HOLES]]
    strips: list[Strip] = [
        (f"{n}true", Traced.round(Ellipse.through(part)), WIDE_ROWS, part, cover) for n, part in enumerate(chosen)
    ]
    for n in range(OTHERS[kind]):
        outline = chosen[0] + rng.normal(0, 2.5, 2) * np.ptp(chosen[0], axis=0)
        astray = Traced.round(Ellipse.through(outline))
        strips.append((f"other{n}", astray, ROWS, _touched(outline, outlines), cover))
    return _kept((number, row, kind), photo, out, strips)


def _touched(outline: FloatArray, outlines: Sequence[FloatArray]) -> FloatArray:
    """Return the nearest of some outlines, which a strip along another may cross."""
    return min(outlines, key=lambda other: float(np.linalg.norm(other.mean(axis=0) - outline.mean(axis=0))))


def _kept(
    of: tuple[int, Mapping[str, Any], str], photo: Photo, out: Path, strips: Sequence[Strip]
) -> list[tuple[str, FloatArray]]:
    """Write strips, and return where the outline runs in them."""
    number, row, kind = of
    found: list[tuple[str, FloatArray]] = []
    rng = np.random.default_rng([0x4F, number])
    for which, traced, rows, outline, hidden in strips:
        if traced.size_px > LEAST_SIZE_PX[kind]:
            name = f"{number % FOLDS}_{row['id']}_{which}"
            step_px = 2 * REACHES[kind] * traced.size_px / ROWS
            # Were the outline always in the same place of the picture's 8 by 8 blocks, its compression would tell.
            traced = traced.shifted(step_px * float(rng.uniform(-BLOCK / 2, BLOCK / 2)))
            levels = strip(photo.bgr, traced.curve, step_px, rows)
            cv2.imwrite(str(out / f"{name}.jpg"), levels, [cv2.IMWRITE_JPEG_QUALITY, QUALITY])
            offset_px = offsets_px(traced.curve, outline, (photo.width, photo.height), hidden, rows * step_px)
            found.append((name, (offset_px / step_px).astype(np.float32)))
    return found


def _kind_of(row: Mapping[str, Any]) -> str:
    kind = row["reference"]["kind"].split(":")[0]
    return "rectangle" if kind in ("card", "a4", "letter") else str(kind)


def _rim(row: Mapping[str, Any]) -> FloatArray:
    return np.array(row["rim_px"] or [], float).reshape(-1, 2)


def _true_outline(row: Mapping[str, Any], kind: str) -> FloatArray:
    if kind == "rim":
        return finely(_rim(row))
    outline = np.array(row["reference_px"] or [], float).reshape(-1, 2)
    return finely(outline) if kind == "coin" and row["reference"]["detail"] != "gbp-1" else outline


def _true_trace(outline: FloatArray, kind: str) -> Traced:
    return Traced.straight(Outline(outline)) if kind == "rectangle" else Traced.round(Ellipse.through(outline))


def _rims(photo: Photo, _: Mapping[str, Any]) -> list[Traced]:
    groups = families(sketched_ellipses(photo.grey), min(photo.grey.shape))[:TRIED]
    large = [group.outer for group in groups if group.outer.radius_px > LEAST_SIZE_PX["rim"]]
    return [Traced.round(ellipse) for ellipse in large[: OTHERS["rim"]]]


def _floors(photo: Photo, row: Mapping[str, Any]) -> list[Floor]:
    if row["group"] == "edge":
        return upright_planes(photo)
    tags = face_tags(photo, request_of(row), parse_kind("tag")) if row["reference"]["kind"] == "tag" else []
    rims = find_rotor(photo.bgr, photo.grey, [tag.sighting for tag in tags if tag.lies == "face"])
    return floors_of(photo, rims[0]) if rims else []


def _coins(photo: Photo, row: Mapping[str, Any]) -> list[Traced]:
    floors = _floors(photo, row)
    is_coin = row["reference"]["kind"] == "coin"
    named = parse_kind(f"coin:{row['reference']['detail']}" if is_coin else "coin:eur-1")
    lies: Lies = row["reference"]["lies"] if is_coin else "face"
    spots = [s for floor in floors[:TILTS] for s in find_spots(photo.bgr, floor, limits_mm(floor, named), lies=lies)]
    spots = sorted(spots, key=lambda spot: -spot.rating)[: OTHERS["coin"]]
    return [Traced.round(Ellipse.through(spot.outline_px)) for spot in spots]


def _rectangles(photo: Photo, row: Mapping[str, Any]) -> list[Traced]:
    floors = _floors(photo, row)
    if not floors:
        return []
    there = _kind_of(row) == "rectangle"
    named = parse_kind(row["reference"]["kind"] if there else "card")
    inside = there and row["reference"]["lies"] != "bench"
    search = Search.of(photo.bgr, floors, named, inside=inside)
    others = [] if row["group"] == "edge" else other_planes(floors, inside=inside)
    planes = [*floors[:TILTS], *others]
    guesses: list[Guess] = [guess for floor in planes for guess in search.on(floor)]
    guesses += search.patched() if search.is_sheet else []
    outlines = [Outline(guess.corners_px(named.size_mm)) for guess in sorted(guesses, key=lambda g: -g.score)]
    return [Traced.straight(outline) for outline in _distinct(outlines)[: OTHERS["rectangle"]]]


def _distinct(outlines: Sequence[Outline]) -> list[Outline]:
    kept: list[Outline] = []
    for outline in outlines:
        if all(outline.off(other) > 0.1 * other.size_px for other in kept):
            kept.append(outline)
    return kept


SUGGESTED: Mapping[str, Callable[[Photo, Mapping[str, Any]], list[Traced]]] = {
    "rim": _rims,
    "coin": _coins,
    "rectangle": _rectangles,
}


def finely(round_px: FloatArray) -> FloatArray:
    """Return ten times as many points of something round, (N, 2), as its waves have it: chords run inside it."""
    return np.asarray(resample(round_px, FINE * len(round_px)), np.float64) if len(round_px) else round_px


def offsets_px(
    curve: Curve, outline_px: FloatArray, size: tuple[int, int], hidden_px: FloatArray, most_px: float
) -> FloatArray:
    """Return how far outward of a curve an outline runs, (COLUMNS,); NaN where it does not show in the photo.

    Parameters
    ----------
    curve : pair of (COLUMNS * FINER, 2) ndarray
    outline_px : (N, 2) ndarray
        Points round it, in order.
    size : (int, int)
        The photo's width and height.
    hidden_px : (N, 2) ndarray
        Outline of what hides all that lies within.
    most_px : float
        What is farther off doesn't count.
    """
    offsets = np.full(COLUMNS, np.nan)
    if not len(outline_px):
        return offsets
    foot, normal = (part[FINER // 2 :: FINER] for part in curve)
    closed = np.vstack([outline_px, outline_px[:1]])
    at = np.linspace(0, len(outline_px), max(720, len(outline_px)), endpoint=False)
    drawn = np.stack([np.interp(at, np.arange(len(closed)), part) for part in closed.T], axis=1)
    run = np.roll(drawn, -1, axis=0) - drawn
    run /= np.maximum(np.linalg.norm(run, axis=1), 1e-9)[:, None]
    away = drawn[None] - foot[:, None]
    along = (away * normal[:, None]).sum(axis=2)
    side = np.stack([-normal[:, 1], normal[:, 0]], axis=1)
    across = (away * side[:, None]).sum(axis=2)
    shows = ((drawn > 1) & (drawn < np.array(size) - 2)).all(axis=1)
    if len(hidden_px):
        within = [cv2.pointPolygonTest(hidden_px.astype(np.float32), (float(x), float(y)), False) for x, y in drawn]
        shows &= np.array(within) < 0
    lies_along = np.abs(side @ run.T) > LEAST_ACROSS
    crosses = (across * np.roll(across, -1, axis=1) <= 0) & (np.abs(along) < most_px) & lies_along & shows
    nearest = np.where(crosses, np.abs(along), np.inf).argmin(axis=1)
    columns = np.arange(COLUMNS)
    found = crosses[columns, nearest]
    offsets[found] = along[columns, nearest][found]
    return offsets


if __name__ == "__main__":
    main()
