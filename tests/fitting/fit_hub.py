"""Train the net that `vision.hub_look` ships: ``python -m tests.fitting.fit_hub VIEWS [VIEWS ...]``.

VIEWS are folders that `hub_examples` filled. Needs PyTorch, best with a GPU; training takes minutes there.
"""

import argparse
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import torch
from torch.nn import functional

from tests.fitting.nets import begun, changed, kept_out, over, ship, train
from vision.hub_look import BOLT_CELLS, BORE, LEAST_SPREAD, LIFT
from vision.top_view import CELLS, FINER

CHANNELS, BATCH, FASTEST = 24, 24, 4e-3
# What is told, and what is seen; how finely labels are drawn.
LABELS, SHIFT = 4, 4
# Views are turned anyhow, grown and stretched by so much, and shifted by so many cells.
GROWN, STRETCHED, SHIFTED = 0.12, 0.06, 6.0
# How often a piece of another view is pasted over one, and its size, cells.
PASTED, PIECES = 0.4, (10, 60)
# Bolts and rivets fill few cells: what they are counts so much more, which is taken off the odds in the end.
RARE = (8.0, 8.0, 8.0, 1.0)


def main() -> None:
    """Train a net and write it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("views", type=Path, nargs="+")
    parser.add_argument("--without", type=int, help="fold to leave out")
    parser.add_argument("--out", type=Path, help="file to write instead of the one that is shipped")
    parser.add_argument("--steps", type=int, default=24000)
    args = parser.parse_args()
    torch.manual_seed(0)
    data = Data.read(args.views, args.without)
    layers = begun(FINER**2, LABELS, data.grey.device, channels=CHANNELS)

    def loss() -> Any:
        shown, labels = data.batch(BATCH)
        return _loss(over(layers, shown, is_round=False), labels)

    train(layers, loss, args.steps, FASTEST)
    layers[-1][1].data -= torch.tensor(RARE, device=data.grey.device).log()
    views = f"{len(data.grey)} views of the fitting set{kept_out(args.without)}"
    provenance = f"tests/fitting/fit_hub.py: {views}, {args.steps} steps of {BATCH}"
    ship("hub", args.out, {"provenance": provenance}, layers)


@dataclass(frozen=True)
class Data:
    """All views, on the device that trains.

    Attributes
    ----------
    grey : (N, 1, FINER * CELLS, FINER * CELLS) tensor of uint8
    labels : (N, LABELS + 1, CELLS, CELLS) tensor of uint8
        255 where something is, in the net's order; last where the view is seen.
    """

    grey: Any
    labels: Any

    @classmethod
    def read(cls, folders: Sequence[Path], without: int | None) -> "Data":
        """Read all views of some folders but those of one fold."""
        device = "cuda" if torch.cuda.is_available() else "cpu"
        views: list[Any] = []
        labels: list[Any] = []
        with ThreadPoolExecutor() as pool:
            for folder in folders:
                known = dict(np.load(folder / "labels.npz"))
                kept = [path for path in sorted(folder.glob("*.jpg")) if path.name[0] != str(without)]
                views += pool.map(_grey, kept)
                labels += [drawn(known[f"{path.stem}_points"], known[f"{path.stem}_seen"]) for path in kept]
        grey = torch.from_numpy(np.stack(views))[:, None].to(device)
        return cls(grey, torch.from_numpy(np.stack(labels)).to(device))

    def batch(self, count: int) -> tuple[Any, Any]:
        """Draw views, changed as photos differ (count, 4, CELLS, CELLS), and their labels."""
        device = self.grey.device
        which = torch.randint(len(self.grey), (count,), device=device)
        way = _ways(count, device)
        grey, labels = (
            functional.grid_sample(
                part[which].float(),
                functional.affine_grid(way, [count, 1, part.shape[2], part.shape[3]], align_corners=False),
                padding_mode=beyond,
                align_corners=False,
            )
            for part, beyond in ((self.grey, "border"), (self.labels, "zeros"))
        )
        grey, labels = _pasted(grey, labels)
        return made_ready(changed(grey)), labels / 255


def _grey(path: Path) -> Any:
    return cv2.imread(str(path), cv2.IMREAD_GRAYSCALE)


def drawn(points: Any, seen: Any) -> Any:
    """Draw labels, (LABELS + 1, CELLS, CELLS) of uint8: discs at bolts and rivets, the bore filled."""
    labels = np.zeros((LABELS + 1, CELLS, CELLS), np.uint8)
    fine = np.round(points[:, :2] * 2**SHIFT).astype(np.int32)
    for (x, y), kind in zip(fine, points[:, 2].astype(int), strict=True):
        if kind != BORE:
            cv2.circle(labels[kind], (int(x), int(y)), round(BOLT_CELLS * 2**SHIFT), 255, -1, cv2.LINE_AA, SHIFT)
    bore = fine[points[:, 2] == BORE]
    if len(bore):
        cv2.fillPoly(labels[BORE], [bore], 255, cv2.LINE_AA, SHIFT)
    labels[LABELS] = 255 * np.unpackbits(seen)[: CELLS * CELLS].reshape(CELLS, CELLS)
    return labels


def _ways(count: int, device: Any) -> Any:
    """Return affine maps (count, 2, 3): turns, mirrors, sizes, stretches and shifts."""
    turn = 2 * np.pi * torch.rand(count, device=device)
    cos, sin = turn.cos(), turn.sin()
    spin = torch.stack([torch.stack([cos, -sin], 1), torch.stack([sin, cos], 1)], 1)
    mirror = torch.where(torch.rand(count, device=device) < 0.5, -1.0, 1.0)
    size = torch.exp(GROWN * (2 * torch.rand(count, device=device) - 1))
    stretch = STRETCHED * (2 * torch.rand(count, 2, 2, device=device) - 1)
    line = spin @ (torch.eye(2, device=device) + (stretch + stretch.transpose(1, 2)) / 2) * size[:, None, None]
    line = line * torch.stack([mirror, torch.ones_like(mirror)], 1)[:, None]
    shift = SHIFTED / (CELLS / 2) * (2 * torch.rand(count, 2, 1, device=device) - 1)
    return torch.cat([line, shift], 2)


def _pasted(grey: Any, labels: Any) -> tuple[Any, Any]:
    """Hide a piece of a view behind a piece of another, as a card, a cable or a hand does; nothing is told of it."""
    count, device = len(grey), grey.device
    size = torch.randint(*PIECES, (count, 2), device=device)
    size[torch.rand(count, device=device) > PASTED] = 0
    corner = (torch.rand(count, 2, device=device) * (CELLS - size)).long()
    at = torch.arange(CELLS, device=device)
    inside = (at >= corner[..., None]) & (at < (corner + size)[..., None])
    hidden = (inside[:, 0, :, None] & inside[:, 1, None, :])[:, None]
    labels = torch.where(hidden, 0.0, labels)
    fine = hidden.repeat_interleave(FINER, 2).repeat_interleave(FINER, 3)
    return torch.where(fine, grey.roll(1, 0).roll(2 * CELLS // 3, 2), grey), labels


def made_ready(grey: Any) -> Any:
    """Do what `vision.hub_look.made_ready` does."""
    level = torch.log(grey.clamp(0, 255) + LIFT)
    level = level - level.mean(dim=(1, 2, 3), keepdim=True)
    level = level / level.flatten(1).std(dim=1, unbiased=False).clamp(min=LEAST_SPREAD)[:, None, None, None]
    return functional.pixel_unshuffle(level, FINER)


def _loss(odds: Any, labels: Any) -> Any:
    """Mean surprise at what is in each cell that is seen, times a hundred."""
    rare = torch.tensor(RARE, device=odds.device)[:, None, None]
    surprise = functional.binary_cross_entropy_with_logits(odds, labels[:, :LABELS], reduction="none", pos_weight=rare)
    return 100 * (surprise * labels[:, LABELS:]).mean()


if __name__ == "__main__":
    main()
