"""Which level lines are the ring's edges, on lists of lines and what lies between them, written down by hand."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vision.edge_pairs import RimLine
from vision.edge_rims import Rims, likely_rims
from vision.edge_rows import Row, Rows
from vision.edge_start import CHAMFER_MM

THICK_MM = 28.0
HEIGHTS_MM = np.arange(60.0, -100.0, -0.1)


def line(height_mm: float, cover: float = 0.95, step: float = 0.4) -> RimLine:
    return RimLine(height_mm, np.zeros((0, 2)), cover, step)


def wall(top_mm: float = 0.0, bottom_mm: float = -THICK_MM) -> Rows:
    """A grey wall between a darker hat and a brighter floor, with dark openings if it is thick enough for them."""
    height = HEIGHTS_MM
    inside = (height <= top_mm) & (height >= bottom_mm)
    cheek = (top_mm - bottom_mm) * 0.3
    opening = (height < top_mm - cheek) & (height > bottom_mm + cheek) & (top_mm - bottom_mm > 15)
    level = np.where(opening, 3.6, np.where(inside, 4.6, np.where(height > top_mm, 4.2, 5.1)))
    grey = Row(height, np.zeros(len(height)))
    busy, end = Row(height, np.where(opening, 0.15, 0.03)), Row(height, np.where(inside, 0.35, 0.02))
    return Rows(Row(height, level), grey, grey, busy, [end, end])


def found(lines: list[RimLine], rows: Rows | None = None) -> list[Rims]:
    return likely_rims(lines, rows or wall())


# A vented ring from above to below: its edge, chamfer, the openings' edges, the lower chamfer and edge.
VENTED = [line(0.0), line(-1.0), line(-8.5), line(-19.5, step=0.3), line(-27.0), line(-THICK_MM)]


def test_the_edges_are_the_outermost_lines_and_not_chamfers_or_openings() -> None:
    best = found(VENTED)[0]
    assert (best.top.height_mm, best.bottom.height_mm) == (0.0, -THICK_MM)
    assert best.thickness_mm == THICK_MM
    assert best.probability > 0.8


@pytest.mark.parametrize(
    "stranger",
    [line(12.0, cover=0.45, step=0.3), line(-33.0, cover=0.3, step=0.1), line(4.0, cover=0.3, step=0.1)],
    ids=["hat", "shadow", "far side of the face"],
)
def test_what_lies_outside_and_shows_in_part_is_no_edge(stranger: RimLine) -> None:
    best = found([*VENTED, stranger])[0]
    assert (best.top.height_mm, best.bottom.height_mm) == (0.0, -THICK_MM)


def test_a_solid_ring_has_two_edges_and_chamfers() -> None:
    best = found([line(0.0), line(-1.2), line(-10.8), line(-12.0)], wall(0.0, -12.0))[0]
    assert best.thickness_mm == pytest.approx(12.0)


def test_an_edge_that_hardly_shows_is_less_sure() -> None:
    faint = [*VENTED[:-1], line(-THICK_MM, cover=0.3, step=0.06)]
    assert found(faint)[0].probability < found(VENTED)[0].probability


def test_an_edge_as_bright_as_its_chamfer_is_supposed_beside_it() -> None:
    hidden = [edge for edge in VENTED if edge.height_mm != 0.0]
    best = found(hidden)[0]
    assert best.top.supposed == 1
    assert best.top.seen_mm == -1.0
    assert best.thickness_mm == pytest.approx(THICK_MM - 1.0 + CHAMFER_MM)


def test_no_pair_is_as_thick_as_a_hat_is_high() -> None:
    assert found([line(0.0), line(-60.0)]) == []
    assert found([line(0.0)]) == []
    assert found([]) == []


@settings(deadline=None, max_examples=40)
@given(st.permutations(range(len(VENTED))), st.floats(-40, 40))
def test_order_and_the_cameras_height_do_not_matter(order: list[int], shift_mm: float) -> None:
    moved = [line(VENTED[i].height_mm + shift_mm, VENTED[i].cover, VENTED[i].step) for i in order]
    there = found(moved, wall(shift_mm, shift_mm - THICK_MM))
    assert there[0].thickness_mm == pytest.approx(THICK_MM)
    assert there[0].probability == pytest.approx(found(VENTED)[0].probability, abs=0.05)
    assert sum(rims.probability for rims in there) == pytest.approx(1.0)
