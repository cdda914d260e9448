"""Train the net that `vision.cuts` ships: ``python -m tests.fitting.fit_cuts EXAMPLES [--without FOLD --out FILE]``.

EXAMPLES is the folder that `cut_examples` filled. With a fold left out the net is written to FILE instead: what such
nets see on the photos that they don't know is what `fit_surface` fits on. ``--on TABLE`` trains a net that was written
before further; ``--kept SHARE`` of its weights then stay, which keeps what it knew of photos that the new ones lack
(M. Wortsman et al., "Robust fine-tuning of zero-shot models", 2022, from memory). Needs PyTorch, best with a GPU;
training a net takes minutes there.
"""

import argparse
import json
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np
import torch
from torch.nn import functional

import vision
from tests.fitting.cut_examples import DEPTH_STEP, RELIEF_STEP
from tests.fitting.cut_labels import NO_SLOT, SLOT
from tests.fitting.nets import Layers, begun, kept_out, over, plain, read, train
from vision.cuts import CELL, COUNTED, DEPTH_UNIT, KINDS, RELIEF_UNIT, TABLE

SPREADS = (1, 2, 4, 8, 1)
# Rows a ring is padded or cut to, and columns of a crop.
ROWS, COLUMNS, TURN = 176, 640, 1920
CROPS, FASTEST = 32, 4e-3
# How often examples of each sort are drawn.
SHARES = {"posed": 1.0, "measured": 1.5, "astray": 0.7, "drawn": 0.5}
UNSEEN = 255
# Deviations of the logarithms of their contrasts: what a tone curve changes in depth, it changes in the noise too.
CONTRAST = (0.4, 0.25)
# Most noise that is added to depth and relief, in the net's units.
NOISE = (0.06, 0.3)


def main() -> None:
    """Train a net and write it."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("examples", type=Path)
    parser.add_argument("--without", type=int)
    parser.add_argument("--out", type=Path, default=Path(vision.__file__).with_name(TABLE))
    parser.add_argument("--on", type=Path)
    parser.add_argument("--kept", type=float, default=0.0)
    parser.add_argument("--steps", type=int, default=3000)
    args = parser.parse_args()
    torch.manual_seed(0)
    data = Data.read(args.examples, args.without)
    layers = _begun(args.on, data.share.device)

    def loss() -> Any:
        shown, labels = data.crops(CROPS)
        return _loss(over(layers, functional.pixel_unshuffle(shown, CELL), is_round=True), labels)

    train(layers, loss, args.steps, FASTEST)
    rings = f"{len(data.share)} rings of the fitting set and of drawings{kept_out(args.without)}"
    before = ""
    if args.on is not None:
        layers = _mixed(layers, read(args.on, data.share.device), args.kept)
        told = json.loads(args.on.read_text(encoding="utf-8"))["provenance"]
        before = f"; {args.kept:g} of its weights from before: {told}"
    provenance = f"tests/fitting/fit_cuts.py: {rings}, {args.steps} steps{before}"
    args.out.write_text(json.dumps({"provenance": provenance, "layers": plain(layers)}) + "\n")


def _begun(path: Path | None, device: Any) -> Layers:
    """Return a new net, or one that was written."""
    if path is not None:
        return read(path, device)
    return begun(3 * CELL**2, 1 + len(KINDS), device, first=3, spreads=SPREADS)


def _mixed(layers: Layers, before: Layers, kept: float) -> Layers:
    """Return a net between two, so near the second."""
    return [
        (torch.lerp(weights, others, kept), torch.lerp(bias, other, kept), spread)
        for (weights, bias, spread), (others, other, _) in zip(layers, before, strict=True)
    ]


@dataclass(frozen=True)
class Data:
    """All examples, on the device that trains.

    Attributes
    ----------
    shown : (N, 3, ROWS, TURN) tensor of int8
        Depth, relief and what is seen.
    labels : (N, ROWS / CELL, TURN / CELL) tensor of uint8
        As in `cut_labels`; ``UNSEEN`` where nothing is seen.
    share : (N,) tensor
        How often each is drawn.
    """

    shown: Any
    labels: Any
    share: Any

    @classmethod
    def read(cls, folder: Path, without: int | None) -> "Data":
        """Read a folder's examples but those of one fold."""
        paths = [path for path in sorted(folder.glob("*.npz")) if path.name[0] != str(without)]
        device = "cuda" if torch.cuda.is_available() else "cpu"
        shown = torch.zeros((len(paths), 3, ROWS, TURN), dtype=torch.int8, device=device)
        labels = torch.full((len(paths), ROWS // CELL, TURN // CELL), UNSEEN, dtype=torch.uint8, device=device)
        with ThreadPoolExecutor() as pool:
            for number, (parts, its_labels) in enumerate(pool.map(_ring, paths)):
                shown[number, :, : parts.shape[1]] = torch.from_numpy(parts).to(device)
                labels[number, : len(its_labels)] = torch.from_numpy(its_labels).to(device)
        seen = functional.avg_pool2d(shown[:, 2].float(), CELL) > 0.99
        labels[~seen] = UNSEEN
        share = [SHARES[path.stem.split("_")[-1]] for path in paths]
        return cls(shown, labels, torch.tensor(share, device=device))

    def crops(self, count: int) -> tuple[Any, Any]:
        """Draw crops round the ring, changed as photos differ: (count, 3, ROWS, COLUMNS) and their labels."""
        device = self.share.device
        shown, labels = self._cut(count)
        other, its_labels = self._cut(count)
        # A stretch of another ring, or of what is none, in every third: what hides a ring comes in all looks.
        along = torch.arange(COLUMNS // CELL, device=device)
        first, length = (torch.randint(low, high, (count, 1), device=device) for low, high in ((0, 300), (15, 110)))
        length[torch.rand(count, 1, device=device) > 0.35] = 0
        pasted = ((along >= first) & (along < first + length))[:, None, :]
        labels = torch.where(pasted, its_labels, labels)
        shown = torch.where(pasted.repeat_interleave(CELL, dim=2)[:, None], other, shown)
        picture, seen = _changed(shown[:, :2]), shown[:, 2:]
        return torch.cat([picture * seen, seen], dim=1), labels

    def _cut(self, count: int) -> tuple[Any, Any]:
        """Cut stretches out, every other mirrored."""
        device = self.share.device
        which = torch.multinomial(self.share, count, replacement=True)[:, None, None]
        start = torch.randint(0, TURN // CELL, (count, 1), device=device)
        along = torch.arange(COLUMNS // CELL, device=device).expand(count, -1)
        along = torch.where(torch.rand(count, 1, device=device) < 0.5, along, along.flip(1))
        cells = (start + along) % (TURN // CELL)
        inside = torch.arange(CELL, device=device).expand(count, 1, -1)
        inside = torch.where(along[:, :1, None] > 0, inside.flip(2), inside)
        columns = (CELL * cells[..., None] + inside).flatten(1)
        down, parts = torch.arange(ROWS, device=device)[:, None], torch.arange(3, device=device)[:, None, None]
        shown = self.shown[which[..., None], parts, down, columns[:, None, None, :]].float()
        labels = self.labels[which, torch.arange(ROWS // CELL, device=device)[:, None], cells[:, None, :]]
        units = torch.tensor([DEPTH_STEP / DEPTH_UNIT, RELIEF_STEP / RELIEF_UNIT, 1.0], device=device)
        return shown * units[:, None, None], labels


def _ring(path: Path) -> tuple[Any, Any]:
    """Read one example: what is shown (3, R, TURN), and labels."""
    with np.load(path) as ring:
        rows = min(len(ring["depth"]) // CELL * CELL, ROWS)
        parts = [ring[name][:rows].astype(np.int8) for name in ("depth", "relief", "seen")]
        return np.stack(parts), ring["labels"][: rows // CELL]


def _changed(picture: Any) -> Any:
    """Change contrast, blur as a coarse or shaken photo is, and add noise: (N, 2, R, C)."""
    count, device, size = len(picture), picture.device, picture.shape[2:]
    contrast = torch.exp(torch.tensor(CONTRAST, device=device) * torch.randn(count, 2, device=device))
    picture = picture * contrast[..., None, None]
    finer = 1.0 / (1.3 + 2.7 * float(torch.rand(1)))
    coarse = functional.interpolate(picture[: count // 3], scale_factor=finer, mode="area")
    coarse = coarse + 0.03 * torch.rand(len(coarse), 1, 1, 1, device=device) * torch.randn_like(coarse)
    picture = torch.cat([functional.interpolate(coarse, size, mode="bilinear"), picture[count // 3 :]])
    noise = torch.rand(count, 1, 1, 1, device=device) ** 3 * torch.randn(count, 1, *size, device=device)
    return picture + noise * torch.tensor(NOISE, device=device).view(1, 2, 1, 1)


def _loss(scores_: Any, labels: Any) -> Any:
    """Mean surprise over what is seen; inside the ring only slots surprise."""
    log_share = functional.log_softmax(scores_, dim=1)
    no_slot = torch.logsumexp(log_share[:, :SLOT], dim=1)
    known = (labels != UNSEEN) & (labels != NO_SLOT)
    its = torch.where(known, labels, torch.zeros_like(labels)).long()
    picked = torch.where(labels == NO_SLOT, no_slot, log_share.gather(1, its[:, None])[:, 0])
    weight = torch.where(known & (labels > 0), COUNTED, 1.0) * (labels != UNSEEN)
    return -(picked * weight).sum() / weight.sum()


if __name__ == "__main__":
    main()
