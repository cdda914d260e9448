"""The net that sees holes, dimples and slots, on drawings that it was not trained on."""

import json
from dataclasses import replace
from importlib import resources

import numpy as np
import pytest

from sample_images_synthetic.studio.pattern import SURFACES
from sample_images_synthetic.studio.rotor import Rotor
from tests.fitting.cut_labels import DIMPLE, HOLE, SLOT, Drawn, cell_mm, cells_mm
from tests.fitting.drawings import drawn_ring
from vision.cuts import CELL, KINDS, TABLE, find_cuts, shipped_net
from vision.ring import Ring

# Drawings that the net was not trained on.
FIRST = 200_000


def of_surface(surface: str, count: int) -> list[tuple[Rotor, Ring]]:
    """Return drawings of one kind that the net was not trained on; a photo's faults hide some of their features."""
    place = SURFACES.index(surface)
    return [drawn_ring(FIRST + (place - FIRST) % 6 + 6 * number) for number in range(count)]


@pytest.mark.parametrize(("surface", "labels"), [("drilled", (HOLE,)), ("dimpled", (DIMPLE,)), ("slotted", (SLOT,))])
def test_most_of_what_is_drawn_is_seen_and_little_else(surface: str, labels: tuple[int, ...]) -> None:
    found, wanted = [], []
    for rotor, ring in of_surface(surface, 6):
        cuts = find_cuts(ring)
        rows, columns = cuts.hole.shape
        shown = ring.seen[: rows * CELL].reshape(rows, CELL, columns, CELL).all(axis=(1, 3))
        # A faint hole may be taken for a dimple: which of the two is told by many of them, see `test_surface`.
        seen = cuts.slot if SLOT in labels else cuts.hole + cuts.dimple
        found.append((seen > 0.5)[shown])
        wanted.append(np.isin(Drawn(rotor).labels(cells_mm(ring), cell_mm(ring)), labels)[shown])
    both = (np.concatenate(found) & np.concatenate(wanted)).sum()
    assert both > 0.55 * np.concatenate(wanted).sum()
    assert both > 0.55 * np.concatenate(found).sum()


def test_next_to_nothing_is_cut_into_plain_rings() -> None:
    cuts = [find_cuts(ring) for _, ring in of_surface("plain", 12)]
    assert float(np.mean([(each.hole + each.dimple + each.slot > 0.5).mean() for each in cuts])) < 0.01


def test_what_is_hidden_holds_nothing() -> None:
    _, ring = of_surface("drilled", 1)[0]
    seen = ring.seen.copy()
    seen[:, 400:900] = False
    hidden = replace(ring, seen=seen, depth=ring.depth * seen, relief=ring.relief * seen)
    cuts = find_cuts(hidden)
    assert float((cuts.hole + cuts.dimple + cuts.slot)[:, 220:430].max()) < 0.5


def test_the_table_says_where_its_numbers_come_from_and_tells_each_kind() -> None:
    table = json.loads(resources.files("vision").joinpath(TABLE).read_text(encoding="utf-8"))
    assert "fit_cuts" in table["provenance"]
    assert len(shipped_net().stack.last.bias) == 1 + len(KINDS)
