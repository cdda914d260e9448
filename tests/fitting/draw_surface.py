"""Draw how well `vision.surface` tells the checking set: ``python -m tests.fitting.draw_surface CHECKING``.

CHECKING is a folder of sample photos with their ``truth.json``. Writes ``confusion.png`` and ``reliability.png``
beside this file, and prints the figures that DEVELOPERS.md states.
"""

import argparse
from concurrent.futures import ProcessPoolExecutor
from pathlib import Path

import matplotlib as mpl
import numpy as np

from tests.fitting.fit_surface import measured, photos
from tests.fitting.table import Example, confusion, log_loss
from vision.measurement import SURFACES, FloatArray
from vision.surface import kinds, shipped_table

mpl.use("Agg")
from matplotlib import pyplot as plt

HERE = Path(__file__).parent
BINS = np.array([0.0, 0.5, 0.7, 0.85, 0.95, 1.0001])
TRIALS = 20_000


def main() -> None:
    """Read the set, draw both pictures and print the figures."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("checking", type=Path)
    parser.add_argument("--jobs", type=int, default=2)
    args = parser.parse_args()
    with ProcessPoolExecutor(args.jobs) as pool:
        read = photos(pool, args.checking)
    posed, examples = [photo.posed for photo in read], measured(read)
    table = shipped_table()
    right = np.trace(confusion(posed, table)) / len(posed)
    print(f"{len(posed)} photos posed by their truth, right {right:.3f}, log loss {log_loss(posed, table):.3f}")
    counts, said = confusion(examples, table), likeliest(examples)
    print(f"{len(examples)} photos as measured, right {np.trace(counts) / counts.sum():.3f}")
    print(f"log loss {log_loss(examples, table):.3f}, reliability p {reliability_p(*said):.2f}")
    print(counts.astype(int))
    draw_confusion(counts)
    draw_reliability(*said)


def likeliest(examples: list[Example]) -> tuple[FloatArray, FloatArray]:
    """Return the likeliest kind's probability and whether it is right, (N,) each."""
    said = [(kind, kinds(features, shipped_table())) for kind, features in examples]
    best = [max(each, key=lambda name: each[name]) for _, each in said]
    sure = np.array([each[name] for (_, each), name in zip(said, best, strict=True)])
    return sure, np.array([float(kind == name) for (kind, _), name in zip(said, best, strict=True)])


def gap(sure: FloatArray, right: FloatArray) -> FloatArray:
    """Expected calibration error: mean gap between what was said and what came true, (..., N) over the last axis."""
    which = np.digitize(sure, BINS) - 1
    gaps = [np.abs(((right - sure) * (which == number)).sum(axis=-1)) for number in range(len(BINS) - 1)]
    return np.asarray(sum(gaps) / len(sure))


def reliability_p(sure: FloatArray, right: FloatArray) -> float:
    """Share of simulated classifiers that are calibrated, with the same probabilities, whose gap is as large."""
    drawn = (np.random.default_rng(0).random((TRIALS, len(sure))) < sure).astype(float)
    return float((gap(sure, drawn) >= gap(sure, right)).mean())


def draw_confusion(counts: FloatArray) -> None:
    """Truths down, likeliest kinds across."""
    figure, axes = plt.subplots(figsize=(4.6, 4.2), layout="constrained")
    axes.imshow(counts / np.maximum(counts.sum(axis=1, keepdims=True), 1), cmap="Blues", vmin=0, vmax=1)
    for (row, column), count in np.ndenumerate(counts.astype(int)):
        if count:
            axes.text(column, row, str(count), ha="center", va="center", color="w" if row == column else "k")
    axes.set_xticks(range(len(SURFACES)), SURFACES, rotation=35, ha="right")
    axes.set_yticks(range(len(SURFACES)), SURFACES)
    axes.set_xlabel("likeliest")
    axes.set_ylabel("true")
    figure.savefig(HERE / "confusion.png", dpi=90)


def draw_reliability(sure: FloatArray, right: FloatArray) -> None:
    """How often the likeliest kind is right, over how likely it was said to be; bars hold 95 % of calibrated ones."""
    figure, axes = plt.subplots(figsize=(4.2, 4.2), layout="constrained")
    axes.plot([0, 1], [0, 1], color="0.7")
    which = np.digitize(sure, BINS) - 1
    rng = np.random.default_rng(0)
    for number in range(len(BINS) - 1):
        part = which == number
        if not part.any():
            continue
        drawn = (rng.random((TRIALS, part.sum())) < sure[part]).mean(axis=1)
        axes.plot([sure[part].mean()] * 2, np.quantile(drawn, (0.025, 0.975)), color="C0", lw=6, alpha=0.3)
        axes.plot(sure[part].mean(), right[part].mean(), "o", color="C0")
        axes.annotate(f" {part.sum()}", (sure[part].mean(), right[part].mean()), fontsize=8, va="top")
    axes.set_xlim(0.3, 1.02)
    axes.set_ylim(0.0, 1.05)
    axes.set_xlabel("probability of the likeliest kind")
    axes.set_ylabel("share that is right")
    figure.savefig(HERE / "reliability.png", dpi=90)


if __name__ == "__main__":
    main()
