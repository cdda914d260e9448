"""Train a net that `vision.near_look` ships: ``python -m tests.fitting.fit_near KIND STRIPS [STRIPS ...]``.

KIND is one of `NEAR_STEPS_MM`; STRIPS are folders that `near_strips` or `edge_strips` filled.
Needs PyTorch, best with a GPU.
"""

import argparse
from collections.abc import Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import torch
from torch.nn import functional

from tests.fitting.fit_outlines import levels_of, log_shares_of, loss_of, made_ready, pasted, sides, told_of, waves
from tests.fitting.kinds import CORNERS, EDGE_KINDS, NEAR_STEPS_MM, NEAR_WIDE_ROWS
from tests.fitting.nets import begun, changed, kept_out, ship, train
from vision.outline_look import COLUMNS, FINER, ROWS

BATCH, FASTEST = 64, 4e-3
CHANNELS = {"rim": 24, "inner": 24, "card": 24, "face_side": 24, "face_end": 24, "rim_end": 24}
FEWER_CHANNELS = 16
# How far off curves are, rows: as a whole, mostly little; then by waves; how much a millimetre may be mistaken.
NEAR, FAR, STRETCHED, MOST_BENT = 5.0, 16.0, 0.08, 22.0
# How often they are far off: another edge may have been taken for a ring's inner one.
FAR_OFTEN = {"inner": 0.5, "face_side": 0.5, "rim_end": 0.5, "hat_side": 0.5, "hat_top": 0.5, "face_end": 0.3}
SELDOM_FAR = 0.2
# Columns by which a strip may be turned and still be one: a card's sides follow each other, a rim seen along its plane
# and a hat have two ends.
TURNED = {"card": COLUMNS // CORNERS, **dict.fromkeys(EDGE_KINDS, COLUMNS)}
# Waves of the first orders, or shift and slope of each side; never none: its straightness would tell an outline.
BENT, WAVES, SIDES = (0.3, 1.3), (3.0, 2.0, 0.7), (4.0, 2.5)
# Light that falls otherwise on both sides of a line beside the outline: how often, how far beside and how soft, rows.
SHADED_OFTEN, BESIDE, SOFT = 0.5, 12.0, (4.0, 12.0)


def main() -> None:
    """Train a net and write it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("kind", choices=sorted(NEAR_STEPS_MM))
    parser.add_argument("strips", type=Path, nargs="+")
    parser.add_argument("--without", type=int, help="fold to leave out")
    parser.add_argument("--out", type=Path, help="file to write instead of the one that is shipped")
    parser.add_argument("--steps", type=int, default=18000)
    args = parser.parse_args()
    torch.manual_seed(0)
    data = Data.read(args.kind, args.strips, args.without)
    device = data.wide.device
    layers = begun(5, 2, device, channels=CHANNELS.get(args.kind, FEWER_CHANNELS))

    def loss() -> Any:
        shown, rows = data.batch(BATCH)
        return loss_of(log_shares_of(layers, shown), rows)

    train(layers, loss, args.steps, FASTEST)
    strips = f"{len(data.wide)} strips of the fitting set{kept_out(args.without)}"
    provenance = f"tests/fitting/fit_near.py {args.kind}: {strips}, {args.steps} steps of {BATCH}"
    told = {"provenance": provenance, "step_mm": NEAR_STEPS_MM[args.kind]}
    ship(f"{args.kind}_near", args.out, told, layers)


@dataclass(frozen=True)
class Data:
    """All strips, on the device that trains.

    Attributes
    ----------
    kind : str
    wide : (N, 3, NEAR_WIDE_ROWS, COLUMNS * FINER) tensor of uint8
    offset, relief : (N, COLUMNS) tensor
        Where the outline runs, rows from the middle, NaN where it doesn't show; and each strip's relief.
    """

    kind: str
    wide: Any
    offset: Any
    relief: Any

    @classmethod
    def read(cls, kind: str, folders: Sequence[Path], without: int | None) -> "Data":
        """Read all strips of some folders but those of one fold."""
        device = "cuda" if torch.cuda.is_available() else "cpu"
        told = {folder / f"{name}.jpg": rows for folder in folders for name, rows in told_of(folder)}
        chosen = [path for path in sorted(told) if path.name[0] != str(without)]
        with ThreadPoolExecutor() as pool:
            levels = np.stack(list(pool.map(levels_of, chosen)))
        both = np.stack([told[path] for path in chosen], axis=1)
        offset, relief = (torch.from_numpy(part.astype(np.float32)).to(device) for part in both)
        return cls(kind, torch.from_numpy(levels).permute(0, 3, 1, 2).to(device), offset, relief)

    def batch(self, count: int) -> tuple[Any, Any]:
        """Draw strips, changed as photos differ (count, 5, ROWS, COLUMNS), and outlines' rows (count, COLUMNS)."""
        device = self.wide.device
        which = torch.randint(len(self.wide), (count,), device=device)
        levels, rows = self._bent(which)
        relief = self.relief[which]
        levels, rows = pasted(levels, rows, levels[torch.randperm(count, device=device)])
        flip = torch.rand(count, device=device) < 0.5
        levels = torch.where(flip[:, None, None, None], levels.flip(3), levels)
        rows, relief = (torch.where(flip[:, None], part.flip(1), part) for part in (rows, relief))
        step = TURNED.get(self.kind, 1)
        turn = step * int(torch.randint(COLUMNS // step, (1,)))
        levels, rows, relief = levels.roll(FINER * turn, 3), rows.roll(turn, 1), relief.roll(turn, 1)
        rows = rows + (ROWS - 1) / 2
        shown = made_ready(changed(_shaded(levels, rows)))
        return torch.cat([shown, relief[:, None, None].expand(-1, 1, ROWS, -1)], dim=1), rows

    def _bent(self, which: Any) -> tuple[Any, Any]:
        """Cut strips along curves that are off the true outlines, of a millimetre that is."""
        count, device = len(which), which.device
        far = torch.rand(count, 1, device=device) < FAR_OFTEN.get(self.kind, SELDOM_FAR)
        off = torch.where(far, FAR * (2 * torch.rand(count, 1, device=device) - 1), NEAR * _normal(count, device))
        size = BENT[0] + (BENT[1] - BENT[0]) * torch.rand(count, 1, device=device)
        off = off + size * (sides(count, device, SIDES) if self.kind == "card" else waves(count, device, WAVES))
        off = off.clamp(-MOST_BENT, MOST_BENT)
        grown = torch.exp(STRETCHED * _normal(count, device))[:, None]
        row = (torch.arange(ROWS, device=device)[:, None] - (ROWS - 1) / 2) * grown + off[:, None]
        y = row / (NEAR_WIDE_ROWS / 2)
        x = (2 * torch.arange(COLUMNS * FINER, device=device) + 1) / (COLUMNS * FINER) - 1
        grid = torch.stack([x.expand_as(y), y], dim=3)
        levels = functional.grid_sample(self.wide[which].float(), grid, align_corners=False, padding_mode="border")
        return levels, (self.offset[which] - off[:, ::FINER]) / grown[:, 0]


def _shaded(levels: Any, rows: Any) -> Any:
    """Change the light on both sides of a soft line somewhere beside the outline."""
    count, device = len(levels), levels.device
    line = torch.nan_to_num(rows, nan=ROWS / 2).mean(dim=1) + BESIDE * torch.randn(count, device=device)
    soft = SOFT[0] + (SOFT[1] - SOFT[0]) * torch.rand(count, 1, device=device)
    inside = torch.sigmoid((line[:, None] - torch.arange(ROWS, device=device)) / soft)[:, None, :, None]
    often = (torch.rand(count, 1, 1, 1, device=device) < SHADED_OFTEN).float()
    gain = torch.exp(often * 0.35 * torch.randn(2, count, 1, 1, 1, device=device))
    tint = torch.exp(often * 0.05 * torch.randn(2, count, 3, 1, 1, device=device))
    shade = gain * tint
    return (levels * (inside * shade[0] + (1 - inside) * shade[1])).clamp(0, 255)


def _normal(count: int, device: Any) -> Any:
    return torch.randn(count, 1, device=device)


if __name__ == "__main__":
    main()
