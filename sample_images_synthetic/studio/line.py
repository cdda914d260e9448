"""The line from scenes to photos: build ahead, render, develop behind.

Meshes and textures are built, and photos developed, by worker processes; a few others render.
"""

import hashlib
import json
import pickle
import sys
import time
from collections.abc import Iterator
from concurrent.futures import Future, ProcessPoolExecutor, wait
from dataclasses import dataclass, replace
from multiprocessing import get_context
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import numpy as np

from sample_images_synthetic.studio.build import stage_of
from sample_images_synthetic.studio.deliver import delivered
from sample_images_synthetic.studio.develop import developed
from sample_images_synthetic.studio.publish import write_truth
from sample_images_synthetic.studio.render import choose_variant, rendered
from sample_images_synthetic.studio.scene import Scene
from sample_images_synthetic.studio.truth import truth_row, versions

SMALL_QUALITY = 78


@dataclass(frozen=True)
class Order:
    """Where photos go and how they are made: samples a pixel, worker processes, Mitsuba's backend,
    and the size above which a photo is written again at ``SMALL_QUALITY``.
    """

    out: Path
    samples: int
    jobs: int
    renderers: int
    variant: str
    most_bytes: int


def photos(scenes: list[Scene], order: Order) -> Iterator[Future[dict[str, Any]]]:
    """Build ahead, render, develop behind."""
    spawn = get_context("spawn")
    with (
        TemporaryDirectory() as scratch,
        ProcessPoolExecutor(order.jobs, spawn) as pool,
        ProcessPoolExecutor(order.renderers, spawn, choose_variant, (order.variant,)) as renderers,
    ):
        folder, ahead = Path(scratch), order.jobs + order.renderers
        building: list[Future[float]] = []
        rendering: list[Future[float]] = []
        for i, scene in enumerate(scenes):
            building += [pool.submit(_build, s, folder) for s in scenes[len(building) : i + ahead]]
            while len(rendering) < min(len(scenes), i + order.renderers + 1):
                wait([building[len(rendering)]])
                rendering.append(renderers.submit(_render, scenes[len(rendering)], folder, order.samples))
            try:
                took = (building[i].result(), rendering[i].result(), order.samples)
            except Exception as fault:  # one broken scene must not cost the others
                print(f"{scene.id} failed: {fault!r}", file=sys.stderr, flush=True)
                continue
            yield pool.submit(_develop, scene, folder, order, took)


def _build(scene: Scene, folder: Path) -> float:
    start = time.perf_counter()
    (folder / f"{scene.id}.stage").write_bytes(pickle.dumps(stage_of(scene), pickle.HIGHEST_PROTOCOL))
    return time.perf_counter() - start


def _render(scene: Scene, folder: Path, samples: int) -> float:
    start = time.perf_counter()
    path = folder / f"{scene.id}.stage"
    linear = rendered(pickle.loads(path.read_bytes()), samples, scene.seed)
    np.save(folder / f"{scene.id}.npy", linear.astype(np.float16))
    path.unlink()
    return time.perf_counter() - start


def _develop(scene: Scene, folder: Path, order: Order, took: tuple[float, float, int]) -> dict[str, Any]:
    """Write the photo; its truth with hash and times."""
    start = time.perf_counter()
    path = folder / f"{scene.id}.npy"
    photo = developed(np.load(path).astype(np.float32), scene.camera, scene.development, scene.rng("develop"))
    path.unlink()
    data = delivered(photo, scene.delivery)
    if len(data) > order.most_bytes and scene.delivery.quality > SMALL_QUALITY:
        scene = replace(scene, delivery=replace(scene.delivery, quality=SMALL_QUALITY))
        data = delivered(photo, scene.delivery)
    (order.out / f"{scene.id}.jpg").write_bytes(data)
    row = truth_row(scene, f"{scene.id}.jpg")
    times = {"build": took[0], "render": took[1], "develop": time.perf_counter() - start}
    row["made"] |= {
        "sha256": sha256(data),
        "samples": took[2],
        "seconds": {k: round(v, 2) for k, v in times.items()},
        "versions": versions(),
    }
    (order.out / f"{scene.id}.json").write_text(json.dumps(row))
    return row


def sha256(data: bytes) -> str:
    """Hash of a file, as ``truth.json`` states it."""
    return hashlib.sha256(data).hexdigest()


def gather(folder: Path) -> None:
    """Write ``truth.json`` from the rows of the photos that are there."""
    write_truth(folder, [json.loads(path.read_text()) for path in sorted(folder.glob("[cfs]*.json"))])
