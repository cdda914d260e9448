"""Train the net that `references.card_look` ships: ``python -m tests.fitting.fit_card_look FITTING``.

FITTING is a folder of sample photos with its ``truth.json``. The guesses that the search makes are what it learns
from: at cards where they lie, and at whatever else has edges, also on photos without a card. Nets that each leave out
a fifth of the photos set how what the net says is weighed with how the edges stand out. Needs PyTorch; minutes on a
processor.
"""

import argparse
import json
import pickle
from collections.abc import Mapping, Sequence
from concurrent.futures import ProcessPoolExecutor
from dataclasses import dataclass
from functools import partial
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import torch
from sklearn.linear_model import LogisticRegression
from torch.nn import functional

import vision.references
from tests.fitting.cut_examples import FOLDS
from tests.fitting.renders import request_of, wanted
from vision import read_photo
from vision.edges import Image
from vision.measurement import FloatArray
from vision.references.card_look import LOOKED_AT, TABLE, laid_flat, normalised
from vision.references.search import corners_mm
from vision.references.parse import CARD, parse_kind
from vision.references.search import Guess, Search, other_planes
from vision.references.sides import to_pixels
from vision.rotor import find_rotor
from vision.trial import face_tags, floors_of

SHAPES = ((12, 3, 5, 2), (16, 12, 3, 2), (24, 16, 3, 2), (24, 24, 3, 1))
PLACE = (24, 12, 16)
ROUNDS, FASTEST, DECAY, DROPPED = 14, 3e-3, 3e-2, 0.3
CARDS, OTHERS = 24, 40
# Weights of single places learn so much slower than the others: there are many, and few cards.
SLOWER = 0.2
# Corners that far off, over the card's diagonal, are the card's yet; from so far on it is another thing.
RIGHT, WRONG = 0.035, 0.07
# Of photos without a card every so many are searched.
EVERY = 4


@dataclass(frozen=True)
class Example:
    """A guess, laid flat, how its edges stand out, and whether it is a card."""

    number: int
    flat: Image
    edges: float
    is_card: bool


def main() -> None:
    """Read the guesses, train and write the net beside `references.card_look`."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("fitting", type=Path)
    parser.add_argument("--jobs", type=int, default=2)
    parser.add_argument("--keep", type=Path, help="file to keep the examples in, or to read them from")
    args = parser.parse_args()
    torch.manual_seed(0)
    if args.keep and args.keep.exists():
        examples = pickle.loads(args.keep.read_bytes())
    else:
        with ProcessPoolExecutor(args.jobs) as pool:
            read = partial(examples_of, folder=args.fitting)
            examples = [one for part in pool.map(read, enumerate(wanted(args.fitting)), chunksize=4) for one in part]
        if args.keep:
            args.keep.write_bytes(pickle.dumps(examples))
    shown = torch.tensor(np.stack([normalised(example.flat) for example in examples]))
    cards = torch.tensor([float(example.is_card) for example in examples])
    fold = np.array([example.number % FOLDS for example in examples])
    left_out = np.zeros(len(examples))
    for number in range(FOLDS):
        out = fold == number
        left_out[out] = scores(trained(shown[~out], cards[~out]), shown[out]).detach().numpy()
    plain = {**_plain(trained(shown, cards)), "weighing": _weighing(examples, left_out)}
    provenance = f"tests/fitting/fit_card_look.py: {int(cards.sum())} guesses at cards and {len(cards)} in all"
    path = Path(vision.references.__path__[0]) / TABLE
    path.write_text(json.dumps({"provenance": provenance, **plain}) + "\n", encoding="utf-8")


def examples_of(numbered: tuple[int, Mapping[str, Any]], folder: Path) -> list[Example]:
    """Search one photo for a card, and say which guesses are right; doubtful ones are left out."""
    number, row = numbered
    there, lies = row["reference"]["kind"] == "card", row["reference"]["lies"]
    if not there and number % EVERY:
        return []
    photo = read_photo(folder / row["file"])
    tags = face_tags(photo, request_of(row), parse_kind("tag")) if row["reference"]["kind"] == "tag" else []
    rims = find_rotor(photo.bgr, photo.grey, [tag.sighting for tag in tags if tag.lies == "face"])
    if not rims:
        return []
    inside = lies != "bench" if there else bool(number % (3 * EVERY))
    search = Search.of(photo.bgr, floors := floors_of(photo, rims[0]), CARD, inside=inside)
    planes = [*floors[:2], *other_planes(floors, inside=inside)]
    guesses = sorted((guess for floor in planes for guess in search.on(floor)), key=lambda guess: -guess.score)
    true_px = np.array(row["reference_px"], float).reshape(-1, 2) if there else None
    examples = []
    for guess in _distinct(guesses)[:LOOKED_AT]:
        off = np.inf if true_px is None else _off(_corners_px(guess), true_px)
        if not RIGHT <= off <= WRONG:
            flat = laid_flat(photo.bgr, guess.homography)
            examples.append(Example(number, flat, guess.score, bool(off < RIGHT)))
    return examples


def _corners_px(guess: Guess) -> FloatArray:
    return to_pixels(guess.homography, corners_mm(*CARD.size_mm))


def _distinct(guesses: Sequence[Guess]) -> list[Guess]:
    kept: list[Guess] = []
    for guess in guesses:
        corners = _corners_px(guess)
        if all(_off(corners, _corners_px(other)) > RIGHT for other in kept):
            kept.append(guess)
    return kept


def _off(corners_px: FloatArray, others_px: FloatArray) -> float:
    """Return how far corners lie from others, in whatever order, over the diagonal."""
    ways = [np.roll(others_px[::way], shift, axis=0) for way in (1, -1) for shift in range(4)]
    off = min(float(np.abs(corners_px - other).max()) for other in ways)
    return off / float(np.linalg.norm(corners_px[2] - corners_px[0]))


Weights = list[Any]


def trained(shown: Any, cards: Any) -> Weights:
    """Train a net on examples (N, 3, R, C) and whether they are cards (N,)."""
    weights: Weights = []
    for out, into, size, _ in SHAPES:
        weights += [torch.randn(out, into, size, size) * np.sqrt(2 / (into * size**2)), torch.zeros(out)]
    weights += [torch.randn(*PLACE) * 0.02, torch.zeros(())]
    for part in weights:
        part.requires_grad_()
    steps = ROUNDS * len(shown) // (CARDS + OTHERS)
    optimizer = torch.optim.AdamW(weights, weight_decay=DECAY)
    pace = torch.optim.lr_scheduler.OneCycleLR(optimizer, FASTEST, total_steps=steps)
    where = [torch.nonzero(cards == float(is_card))[:, 0] for is_card in (True, False)]
    for _ in range(steps):
        which = torch.cat([own[torch.randint(len(own), (n,))] for own, n in zip(where, (CARDS, OTHERS), strict=True)])
        said = scores(weights, _changed(shown[which]), dropped=DROPPED)
        loss = functional.binary_cross_entropy_with_logits(said, cards[which])
        optimizer.zero_grad()
        loss.backward()
        optimizer.step()
        pace.step()
    return weights


def scores(weights: Weights, shown: Any, *, dropped: float = 0.0) -> Any:
    """Do what `CardLook.score` does, for examples (N, 3, R, C)."""
    image = shown
    for number, (_, _, size, stride) in enumerate(SHAPES):
        over = functional.conv2d(image, *weights[2 * number : 2 * number + 2], padding=size // 2, stride=stride)
        image = functional.relu(over)
    return SLOWER * (functional.dropout(image, dropped) * weights[-2]).sum(dim=(1, 2, 3)) + weights[-1]


def _changed(shown: Any) -> Any:
    """Mirror, move by a millimetre or two, change contrast, blur and add noise."""
    count = len(shown)
    for axis in (2, 3):
        mirrored = torch.rand(count, 1, 1, 1) < 0.5
        shown = torch.where(mirrored, shown.flip(axis), shown)
    shown = torch.roll(shown, tuple(torch.randint(-2, 3, (2,)).tolist()), (2, 3))
    shown = shown * torch.exp(0.3 * torch.randn(count, 3, 1, 1))
    if float(torch.rand(1)) < 0.4:
        shown = functional.avg_pool2d(shown, 3, 1, 1)
    return shown + 0.04 * torch.rand(count, 1, 1, 1) * torch.randn_like(shown)


def _weighing(examples: Sequence[Example], left_out: FloatArray) -> list[float]:
    """Weigh scores and edges of what nets don't know; print how well they part cards from other things."""
    told = np.column_stack([left_out, [example.edges for example in examples]])
    cards = np.array([example.is_card for example in examples])
    model = LogisticRegression(C=10.0).fit(told, cards)
    said = model.predict_proba(told)[:, 1]
    numbers = np.array([example.number for example in examples])
    with_card = set(numbers[cards])
    best = {number: said[numbers == number].max() for number in set(numbers)}
    for least in (0.3, 0.5, 0.7):
        seen = np.mean([said[cards & (numbers == number)].max() > least for number in with_card])
        wrong = np.mean([best[number] > least for number in best if number not in with_card])
        print(f"likelier than {least}: {seen:.3f} of the cards, something on {wrong:.3f} of the photos without")
    return [round(float(weight), 4) for weight in (*model.coef_[0], model.intercept_[0])]


def _plain(weights: Weights) -> dict[str, Any]:
    weights = [*weights[:-2], SLOWER * weights[-2], weights[-1]]
    rounded = [np.round(part.detach().double().numpy(), 4).tolist() for part in weights]
    layers = [
        {"weights": rounded[2 * number], "bias": rounded[2 * number + 1], "stride": stride}
        for number, (_, _, _, stride) in enumerate(SHAPES)
    ]
    return {"layers": layers, "place": rounded[-2], "bias": rounded[-1]}


if __name__ == "__main__":
    cv2.setNumThreads(1)
    main()
