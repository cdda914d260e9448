import numpy as np
import pytest

from tests.fitting.drawings import drawn_ring
from vision.cuts import CELL, Cuts
from vision.spots import find_spots

ROWS, COLUMNS = 60, 960


def with_discs(at: list[tuple[float, float]], radius: float, kind: str = "hole") -> Cuts:
    rows, columns = np.mgrid[:ROWS, :COLUMNS]
    image = np.zeros((ROWS, COLUMNS), np.float32)
    for column, row in at:
        along = np.abs(columns - column)
        image[np.hypot(np.minimum(along, COLUMNS - along), rows - row) < radius] = 0.9
    none = np.zeros_like(image)
    return Cuts(image if kind == "hole" else none, image if kind == "dimple" else none, none)


def test_discs_are_found_where_and_as_large_as_they_are_also_on_the_seam() -> None:
    _, ring = drawn_ring(200_000)
    places = [(0.0, 20.0), (300.0, 30.0), (955.0, 40.0)]
    found = find_spots(with_discs(places, 5.0), ring)
    order = np.argsort(found.at[:, 1])
    assert found.at[order] == pytest.approx(CELL * np.array(places) + (CELL - 1) / 2, abs=0.6)
    assert found.radius == pytest.approx(CELL * 5.0, abs=1.0)
    assert found.hole_share == pytest.approx(1.0)
    assert found.roundness == pytest.approx(np.pi / 4, abs=0.1)


def test_a_pattern_has_its_folds_and_scattered_discs_are_none() -> None:
    _, ring = drawn_ring(200_000)
    regular = [(40.0 + 80 * k, row) for k in range(12) for row in (15.0, 30.0)]
    found = find_spots(with_discs(regular, 4.0, "dimple"), ring)
    assert found.folds == 12
    assert found.regular.all()
    assert found.hole_share == pytest.approx(0.0)
    rng = np.random.default_rng(4)
    scattered = [(float(x), float(y)) for x, y in zip(rng.uniform(0, 960, 16), rng.uniform(8, 40, 16), strict=True)]
    assert find_spots(with_discs(scattered, 4.0), ring).regularity < 0.5 * found.regularity


def test_what_is_long_is_no_spot() -> None:
    _, ring = drawn_ring(200_000)
    long = np.zeros((ROWS, COLUMNS), np.float32)
    long[20:24, 100:120] = 0.9
    assert len(find_spots(Cuts(long, 0 * long, 0 * long), ring)) == 0
