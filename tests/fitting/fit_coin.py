"""Fit the weights that `vision.references.coin_look` ships: ``python -m tests.fitting.fit_coin FITTING``.

FITTING is a folder of sample photos with its ``truth.json``. Every ring about every spot of a photo with a coin, on
every plane that the program would try, is an example: one of them is the coin's edge. Smaller copies of the photos are
examples too, since coins are mostly small.
"""

import argparse
import json
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import cv2
import numpy as np
from scipy.optimize import minimize
from scipy.special import logsumexp

import vision.references
from tests.vision.drawn import as_sent
from vision.ellipse import Ellipse
from vision.measurement import FloatArray
from vision.photo import Photo, read_photo
from vision.references.circles import LOG_RATIOS, find_rings, read_profiles
from vision.references.coin import Spot, find_spots, limits_mm, usual_odds
from vision.references.coin_look import TABLE, WEIGHED, features
from vision.references.floor import TILTS, Floor
from vision.references.parse import COINS, Reference
from vision.start import NOMINAL_RADIUS_MM, lenses, plain_camera, poses_of

PENALTY, FOLDS = 0.1, 10
# The share of coins that look less like one than what counts as even odds.
USUAL = 0.05
# A ring is the coin's edge within so much of its radius, about a middle so near; on the wrong plane it is none.
SAME_SIZE, SAME_PLACE, ROUND = 0.026, 0.035, 0.06
NEAR, NEAR_LOG, INSIDE = 0.5, 0.4, 0.71
SHRINKS = (1.0, 0.7, 0.5)


@dataclass(frozen=True)
class Example:
    """The rings of one photo: what is weighed of each, its odds beforehand, and whether it is the coin's edge."""

    id: str
    told: FloatArray
    before: FloatArray
    right: np.ndarray[Any, np.dtype[np.bool_]]


def main() -> None:
    """Fit, write the table beside `coin_look`, and print how many coins are told when left out of the fit."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("fitting", type=Path)
    args = parser.parse_args()
    examples = [example for example in read(args.fitting) if example.right.any()]
    names = sorted({example.id for example in examples})
    weights = fitted(examples)
    right, loss = [], []
    for fold in range(FOLDS):
        out = names[fold::FOLDS]
        left = fitted([e for e in examples if e.id not in out])
        for example in examples:
            if example.id in out:
                odds = example.told @ left + example.before
                right.append(bool(example.right[odds.argmax()]))
                loss.append(logsumexp(odds) - logsumexp(odds[example.right]))
    print(f"left out: {np.mean(right):.1%} of {len(right)} right, log loss {np.mean(loss):.3f}")
    best = [(e.told @ weights + e.before)[e.right].max() for e in examples]
    usual = float(np.quantile(best, USUAL))
    plain = {
        "provenance": f"tests/fitting/fit_coin.py: {len(names)} photos of the fitting set, in {len(examples)} copies",
        "usual": round(usual, 2),
        "shown": np.round(weights[: len(WEIGHED)], 2).tolist(),
        "coloured": np.round(weights[len(WEIGHED) :], 2).tolist(),
    }
    path = Path(vision.references.__file__).with_name(TABLE)
    path.write_text(json.dumps(plain, indent=0) + "\n", encoding="utf-8")


def read(folder: Path) -> Iterator[Example]:
    """Read the rings of every photo with a coin."""
    for row in json.loads((folder / "truth.json").read_text(encoding="utf-8")):
        reference = COINS.get(f"coin:{float_like(row['reference'])}")
        if reference is None or row["group"] != "face-on":
            continue
        photo, rng = read_photo(folder / row["file"]), np.random.default_rng(int(row["id"][1:]))
        for shrink in SHRINKS:
            yield _example(row, _copy(photo, shrink, rng), shrink, reference)


def float_like(reference: dict[str, Any]) -> str:
    """Return a coin's name as the contract has it: ``eur-0.50`` is ``eur-0.5``."""
    if reference["kind"] != "coin":
        return ""
    money, _, worth = str(reference["detail"]).partition("-")
    return f"{money}-{float(worth):g}"


def _copy(photo: Photo, shrink: float, rng: np.random.Generator) -> Photo:
    if shrink == 1.0:
        return photo
    small = cv2.resize(photo.bgr, None, fx=shrink, fy=shrink, interpolation=cv2.INTER_AREA)
    return replace(photo, bgr=as_sent(rng, np.asarray(small, np.uint8), int(rng.integers(70, 95))))


def _example(row: dict[str, Any], photo: Photo, shrink: float, reference: Reference) -> Example:
    rim = Ellipse.through((np.array(row["rim_px"]) + 0.5) * shrink - 0.5)
    coin_px = (np.array(row["reference_px"]) + 0.5) * shrink - 0.5
    floors = [
        Floor.under(plain_camera(photo, f35_mm), pose, NOMINAL_RADIUS_MM)
        for f35_mm, _ in lenses(photo)
        for pose in poses_of(photo, rim, f35_mm)
    ]
    limits, lies = limits_mm(floors[0], reference), row["reference"]["lies"]
    spots = [spot for floor in floors[:TILTS] for spot in find_spots(photo.bgr, floor, limits, lies=lies)]
    parts = [
        part
        for spot in spots
        for floor in floors
        for size in (1.0, INSIDE)
        for part in _rings(photo, spot.on(floor), (coin_px, size), reference)
    ]
    told, before, right = (np.concatenate([part[i] for part in parts]) for i in range(3)) if parts else ([], [], [])
    return Example(row["id"], np.asarray(told), np.asarray(before), np.asarray(right, bool))


def _rings(
    photo: Photo, spot: Spot, coin: tuple[FloatArray, float], reference: Reference
) -> Iterator[tuple[FloatArray, FloatArray, FloatArray]]:
    """Tell the rings about a spot; about the coin as they show once its edge, or a ring inside it, is taken for it."""
    coin_px, size = coin
    true_mm = spot.floor.to_plane(coin_px)
    middle, radius = true_mm.mean(axis=0), np.hypot(*(true_mm - true_mm.mean(axis=0)).T)
    near = np.hypot(*(spot.xy_mm - middle)) < NEAR * radius.mean()
    radius_mm = size * float(radius.mean()) if near else spot.radius_mm
    first = find_rings(read_profiles(photo.bgr, spot.floor, spot.xy_mm, radius_mm))[0]
    xy_mm = spot.xy_mm + first.shift_mm
    seen_mm = radius_mm * np.exp(LOG_RATIOS)
    least_mm, most_mm = limits_mm(spot.floor, reference)
    inside = (seen_mm > least_mm) & (seen_mm < most_mm) & (np.abs(LOG_RATIOS) < NEAR_LOG)
    usual = usual_odds(seen_mm, spot.floor, reference)
    for rings in find_rings(read_profiles(photo.bgr, spot.floor, xy_mm, radius_mm)):
        off = float(np.hypot(*(xy_mm + rings.shift_mm - middle)) / radius.mean())
        round_ = off < SAME_PLACE and float(np.ptp(radius)) < ROUND * radius.mean()
        right = round_ & (np.abs(np.log(seen_mm / radius.mean())) < SAME_SIZE)
        yield features(rings)[inside], usual[inside], right[inside]


def fitted(examples: Sequence[Example]) -> FloatArray:
    """Return the weights under which the coins' edges are likeliest among all rings of their photos."""

    def loss(weights: FloatArray) -> tuple[float, FloatArray]:
        total, slope = 0.5 * PENALTY * float(weights @ weights), PENALTY * weights
        for example in examples:
            odds = example.told @ weights + example.before
            all_, right = logsumexp(odds), logsumexp(odds[example.right])
            share = np.exp(odds - all_) - np.where(example.right, np.exp(odds - right), 0.0)
            total += (all_ - right) / len(SHRINKS)
            slope = slope + share @ example.told / len(SHRINKS)
        return total, slope

    found = minimize(loss, np.zeros(2 * len(WEIGHED)), jac=True, method="L-BFGS-B")
    return np.asarray(found.x, np.float64)


if __name__ == "__main__":
    main()
