"""The small nets that `vision.layer` works out, as PyTorch trains them, and how photos differ from each other."""

import json
from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Any

import numpy as np
import torch
from torch.nn import functional

import vision

SPREADS, DECAY = (1, 2, 4, 8, 16, 1), 1e-3
# Weights, biases and spread of every layer.
One = tuple[Any, Any, int]
Layers = list[One]


def begun(
    into: int, out: int, device: Any, *, channels: int = 16, first: int = 5, spreads: Sequence[int] = SPREADS
) -> Layers:
    """Return a new net's layers, from ``into`` images to ``out``, with so many between; the first looks so wide."""
    shapes = [(channels, into, first, 1), *((channels, channels, 3, spread) for spread in spreads)]
    shapes.append((out, channels, 1, 1))
    layers: Layers = []
    for rows, columns, size, spread in shapes:
        weights = torch.randn(rows, columns, size, size, device=device) * np.sqrt(1.5 / (columns * size**2))
        layers.append((weights.requires_grad_(), torch.zeros(rows, device=device).requires_grad_(), spread))
    return layers


def read(path: Path, device: Any) -> Layers:
    """Read a net that was written, to go on from."""
    parts = json.loads(path.read_text(encoding="utf-8"))["layers"]
    return [
        (
            torch.tensor(part["weights"], device=device).requires_grad_(),
            torch.tensor(part["bias"], device=device).requires_grad_(),
            part["spread"],
        )
        for part in parts
    ]


def plain(layers: Layers) -> list[dict[str, Any]]:
    """Return layers as they are written."""
    return [
        {"weights": _rounded(weights), "bias": _rounded(bias), "spread": spread} for weights, bias, spread in layers
    ]


def ship(table: str, out: Path | None, told: Mapping[str, Any], layers: Layers) -> None:
    """Write a net with what is told of it, to ``out`` or where `vision` ships the table."""
    path = out or Path(vision.__file__).with_name(f"{table}_net.json")
    path.write_text(json.dumps({**told, "layers": plain(layers)}) + "\n", encoding="utf-8")


def kept_out(without: int | None) -> str:
    """Say which fold a net didn't learn from, if any."""
    return "" if without is None else f" but fold {without}"


def _rounded(part: Any) -> Any:
    return np.round(part.detach().cpu().double().numpy(), 3).tolist()


def over(layers: Layers, shown: Any, *, is_round: bool) -> Any:
    """Do what `vision.layer.Stack` does."""
    image = functional.relu(_over(layers[0], shown, is_round))
    for layer in layers[1:-1]:
        image = image + functional.relu(_over(layer, image, is_round))
    return _over(layers[-1], image, is_round)


def _over(layer: One, image: Any, is_round: bool) -> Any:
    weights, bias, spread = layer
    pad = spread * (weights.shape[-1] // 2)
    wide = functional.pad(image, (pad, pad, 0, 0), mode="circular" if is_round else "constant")
    return functional.conv2d(functional.pad(wide, (0, 0, pad, pad)), weights, bias, dilation=spread)


def train(layers: Layers, loss_of_batch: Callable[[], Any], steps: int, fastest: float) -> None:
    """Change layers for the better, step by step."""
    weights = [part for layer in layers for part in layer[:2]]
    optimizer = torch.optim.AdamW(weights, weight_decay=DECAY)
    pace = torch.optim.lr_scheduler.OneCycleLR(optimizer, fastest, total_steps=steps, pct_start=0.1)
    for step in range(steps):
        loss = loss_of_batch()
        optimizer.zero_grad()
        loss.backward()
        torch.nn.utils.clip_grad_norm_(weights, 1.0)
        optimizer.step()
        pace.step()
        if step % 100 == 0:
            print(step, f"{loss.item():.4f}", flush=True)


def changed(levels: Any) -> Any:
    """Change colours and contrast, blur as a coarse photo is, and add noise: (N, C, H, W)."""
    count, device, size = len(levels), levels.device, levels.shape[2:]
    curve = torch.exp(0.25 * torch.randn(count, 1, 1, 1, device=device))
    gain = torch.exp(0.08 * torch.randn(count, levels.shape[1], 1, 1, device=device))
    levels = 255 * (levels.clamp(0, 255) / 255) ** curve * gain
    part = count // 4
    order = torch.randperm(count, device=device)
    finer = 1.0 / (1.2 + 2.0 * float(torch.rand(1)))
    coarse = functional.interpolate(levels[order[:part]], scale_factor=finer, mode="area")
    levels = torch.cat([functional.interpolate(coarse, size, mode="bilinear"), levels[order[part:]]])[order.argsort()]
    noise = 12 * torch.rand(count, 1, 1, 1, device=device) ** 3
    return levels + noise * torch.randn_like(levels)
