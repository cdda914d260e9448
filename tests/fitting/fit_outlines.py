"""Train a net that `vision.outline_look` ships: ``python -m tests.fitting.fit_outlines KIND STRIPS [STRIPS ...]``.

KIND is rim, coin, rectangle, hole or bore; STRIPS are folders that `outline_strips` filled. Needs PyTorch, best with a
GPU; training takes minutes there.
"""

import argparse
import json
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import cv2
import numpy as np
import torch
from torch.nn import functional

from tests.fitting.kinds import CORNERS, REACHES, TOLD, WIDE_ROWS
from tests.fitting.nets import Layers, begun, changed, kept_out, over, read, ship, train
from vision.outline_look import COLUMNS, FINER, LEAST_SPREAD, ROWS

BATCH, FASTEST = 64, 4e-3
# Of a batch so much are true outlines, bent; by how many rows: as a whole, then by waves of the first orders, or on
# each side of a rectangle by itself, level and sloping.
TRUE, BENT, WAVES, SIDES, MOST_BENT = 0.55, 31.0, (6.3, 4.0, 1.1), (6.0, 4.0), 35.0
# How often a stretch of something else is pasted over a strip, and how long, columns.
PASTED, LENGTHS = 0.4, (8, 50)
# How far the colours of what is outlined and of its ground are changed each by itself, and how often.
PARTED, PARTED_OFTEN = 1.0, 0.6


def main() -> None:
    """Train a net and write it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("kind", choices=sorted(REACHES))
    parser.add_argument("strips", type=Path, nargs="+")
    parser.add_argument("--without", type=int, help="fold to leave out")
    parser.add_argument("--out", type=Path, help="file to write instead of the one that is shipped")
    parser.add_argument("--steps", type=int, default=7000)
    parser.add_argument("--start", type=Path, help="net to go on from")
    parser.add_argument("--batch", type=int, default=BATCH)
    args = parser.parse_args()
    torch.manual_seed(0)
    data = Data.read(args.kind, args.strips, args.without)
    device = data.wide.device
    layers = read(args.start, device) if args.start else begun(4, 2, device)

    def loss() -> Any:
        shown, rows = data.batch(args.batch)
        return loss_of(log_shares_of(layers, shown), rows)

    train(layers, loss, args.steps, FASTEST / 3 if args.start else FASTEST)
    strips = f"{len(data.wide) + len(data.narrow)} strips of the fitting set{kept_out(args.without)}"
    provenance = f"tests/fitting/fit_outlines.py {args.kind}: {strips}, {args.steps} steps of {args.batch}"
    if args.start:
        provenance += f" after {json.loads(args.start.read_text(encoding='utf-8'))['provenance']}"
    ship(args.kind, args.out, {"provenance": provenance, "reach": REACHES[args.kind]}, layers)


@dataclass(frozen=True)
class Data:
    """All strips, on the device that trains.

    Attributes
    ----------
    kind : str
    wide, narrow : (N, 3, rows, COLUMNS * FINER) tensor of uint8
        Along true outlines, and along other curves.
    wide_offset, narrow_offset : (N, COLUMNS) tensor
        Where the outline runs, rows from the middle; NaN where it doesn't show.
    """

    kind: str
    wide: Any
    narrow: Any
    wide_offset: Any
    narrow_offset: Any

    @classmethod
    def read(cls, kind: str, folders: Sequence[Path], without: int | None) -> "Data":
        """Read all strips of some folders but those of one fold."""
        device = "cuda" if torch.cuda.is_available() else "cpu"
        offsets = {folder / f"{name}.jpg": rows for folder in folders for name, rows in told_of(folder)}
        kept = [path for path in sorted(offsets) if path.name[0] != str(without)]
        parts: list[Any] = []
        with ThreadPoolExecutor() as pool:
            for is_true in (True, False):
                chosen = [path for path in kept if path.stem.endswith("true") == is_true]
                levels = np.stack(list(pool.map(levels_of, chosen)))
                rows = np.stack([offsets[path] for path in chosen]).astype(np.float32)
                parts += [torch.from_numpy(levels).permute(0, 3, 1, 2).to(device), torch.from_numpy(rows).to(device)]
        return cls(kind, parts[0], parts[2], parts[1], parts[3])

    def batch(self, count: int) -> tuple[Any, Any]:
        """Draw strips, changed as photos differ (count, 4, ROWS, COLUMNS), and outlines' rows (count, COLUMNS)."""
        bent = round(TRUE * count)
        levels, rows = self._bent(bent)
        which = torch.randint(len(self.narrow), (count - bent,), device=levels.device)
        levels = torch.cat([levels, self.narrow[which].float()])
        rows = torch.cat([rows, self.narrow_offset[which]])
        others = self.narrow[torch.randint(len(self.narrow), (count,), device=levels.device)].float()
        levels, rows = pasted(levels, rows, others)
        flip = torch.rand(count, device=levels.device) < 0.5
        levels = torch.where(flip[:, None, None, None], levels.flip(3), levels)
        rows = torch.where(flip[:, None], rows.flip(1), rows)
        step = COLUMNS // CORNERS if self.kind == "rectangle" else 1
        turn = step * int(torch.randint(COLUMNS // step, (1,)))
        levels, rows = levels.roll(FINER * turn, 3), rows.roll(turn, 1)
        rows = rows + (ROWS - 1) / 2
        return made_ready(changed(levels if self.kind == "rim" else parted(levels, rows))), rows

    def _bent(self, count: int) -> tuple[Any, Any]:
        """Cut strips along curves that are off the true outlines."""
        device = self.wide.device
        which = torch.randint(len(self.wide), (count,), device=device)
        far = torch.rand(count, 1, device=device) < 0.6
        off = torch.where(far, BENT * (2 * torch.rand(count, 1, device=device) - 1), 3.4 * _normal(count, device))
        size = 2 * torch.rand(count, 1, device=device) ** 2
        off = off + size * (sides(count, device, SIDES) if self.kind == "rectangle" else waves(count, device, WAVES))
        off = off.clamp(-MOST_BENT, MOST_BENT)
        row = torch.arange(ROWS, device=device)[:, None] - (ROWS - 1) / 2 + off[:, None]
        y = row / (WIDE_ROWS / 2)
        x = (2 * torch.arange(COLUMNS * FINER, device=device) + 1) / (COLUMNS * FINER) - 1
        grid = torch.stack([x.expand_as(y), y], dim=3)
        levels = functional.grid_sample(self.wide[which].float(), grid, align_corners=False)
        return levels, self.wide_offset[which] - off[:, ::FINER]


def levels_of(path: Path) -> Any:
    """Read a strip, (rows, COLUMNS * FINER, 3)."""
    return cv2.imread(str(path))


def told_of(folder: Path) -> list[tuple[str, Any]]:
    """Return what is told of each of a folder's strips."""
    with np.load(folder / TOLD) as told:
        return [(name, told[name]) for name in told]


def waves(count: int, device: Any, stds: Sequence[float]) -> Any:
    """Return waves round a circle, rows (count, COLUMNS * FINER)."""
    angle = torch.arange(COLUMNS * FINER, device=device) * (2 * np.pi / (COLUMNS * FINER))
    rounds = [(std, order * angle) for order, std in enumerate(stds, start=1)]
    each = [std * wave(turn) for std, turn in rounds for wave in (torch.cos, torch.sin)]
    return sum(_normal(count, device) * wave for wave in each)


def sides(count: int, device: Any, stds: Sequence[float]) -> Any:
    """Return shifts and slopes of a rectangle's sides, rows (count, COLUMNS * FINER)."""
    long = COLUMNS * FINER // CORNERS
    along = torch.linspace(-1, 1, long, device=device).repeat(CORNERS)
    shift, slope = (std * torch.randn(count, CORNERS, device=device) for std in stds)
    return shift.repeat_interleave(long, 1) + slope.repeat_interleave(long, 1) * along


def _normal(count: int, device: Any) -> Any:
    return torch.randn(count, 1, device=device)


def pasted(levels: Any, rows: Any, others: Any) -> tuple[Any, Any]:
    """Hide a stretch behind a stretch of another strip, as a caliper, a spoke or a hand does."""
    count, device = len(levels), levels.device
    along = torch.arange(COLUMNS, device=device)
    first = torch.randint(COLUMNS, (count, 1), device=device)
    length = torch.randint(*LENGTHS, (count, 1), device=device)
    length[torch.rand(count, 1, device=device) > PASTED] = 0
    hidden = ((along - first) % COLUMNS) < length
    # What hides an outline shows none: it is taken from beside the other's, upside down as often as not.
    other = others.roll(ROWS // 3, 2).flip(2)
    rows = torch.where(hidden, torch.nan, rows)
    return torch.where(hidden.repeat_interleave(FINER, dim=1)[:, None, None], other, levels), rows


def parted(levels: Any, rows: Any) -> Any:
    """Change the colours of what is outlined and of its ground each by itself: nothing rests on the renderer's grounds.

    Where the outline does not show, that of the column before goes on.
    """
    count, device = len(levels), levels.device
    line = torch.nan_to_num(rows, nan=-9.0).clamp(-9, ROWS + 9).repeat_interleave(FINER, 1)[:, None, None]
    inside = torch.sigmoid((line - torch.arange(ROWS, device=device)[:, None]) / 0.7)
    two = levels[None].expand(2, -1, -1, -1, -1)
    level = two.mean(dim=(2, 3, 4), keepdim=True)
    size = PARTED * (torch.rand(count, 1, 1, 1, device=device) < PARTED_OFTEN)
    gain = torch.exp(size * 0.4 * torch.randn(2, count, 1, 1, 1, device=device))
    tint = torch.exp(size * 0.07 * torch.randn(2, count, 3, 1, 1, device=device))
    shift = size * 35 * torch.randn(2, count, 1, 1, 1, device=device)
    changed = (level + gain * (two - level) + shift) * tint
    return (inside * changed[0] + (1 - inside) * changed[1]).clamp(0, 255)


def made_ready(levels: Any) -> Any:
    """Do what `vision.outline_look.made_ready` does."""
    fine = levels.unflatten(3, (COLUMNS, FINER))
    grain = (fine.mean(dim=1)[..., 0] - fine.mean(dim=1)[..., 1]).abs()
    colours = fine.mean(dim=4)
    colours = colours - colours.mean(dim=(1, 2, 3), keepdim=True)
    spread = colours.flatten(1).std(dim=1, unbiased=False).clamp(min=LEAST_SPREAD)
    return torch.cat([colours, grain[:, None]], dim=1) / spread[:, None, None, None]


def log_shares_of(layers: Layers, shown: Any) -> Any:
    """Do what `OutlineNet` does: logarithms of probabilities (N, ROWS + 1, COLUMNS)."""
    last = over(layers, shown, is_round=True)
    scores = torch.cat([last[:, 0], last[:, 1].mean(dim=1, keepdim=True)], dim=1)
    return functional.log_softmax(scores, dim=1)


def loss_of(log_share: Any, rows: Any) -> Any:
    """Mean surprise at the outline's rows, between two of which it may run."""
    shows = (rows >= 0) & (rows <= ROWS - 1)
    row = torch.where(shows, rows, 0.0).clamp(0, ROWS - 1.001)
    below = row.long()
    part = (row - below).float()
    at = torch.gather(log_share, 1, below[:, None])[:, 0] * (1 - part)
    at = at + torch.gather(log_share, 1, below[:, None] + 1)[:, 0] * part
    return -torch.where(shows, at, log_share[:, -1]).mean()


if __name__ == "__main__":
    main()
