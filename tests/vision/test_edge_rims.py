"""Which level lines are the ring's edges, on lists of lines written down by hand."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from vision.edge_rims import RimLine, likely_rims

THICK_MM = 28.0


def line(height_mm: float, cover: float = 0.95, step: float = 0.4) -> RimLine:
    return RimLine(height_mm, np.zeros((0, 2)), cover, step)


# A vented ring from above to below: its edge, chamfer, the openings' edges, the lower chamfer and edge.
VENTED = [line(0.0), line(-1.0), line(-8.5), line(-19.5, step=0.3), line(-27.0), line(-THICK_MM)]


def test_the_edges_are_the_outermost_lines_and_not_chamfers_or_openings() -> None:
    best = likely_rims(VENTED)[0]
    assert (best.top.height_mm, best.bottom.height_mm) == (0.0, -THICK_MM)
    assert best.thickness_mm == THICK_MM
    assert best.probability > 0.8


@pytest.mark.parametrize(
    "stranger",
    [line(12.0, cover=0.45, step=0.3), line(-33.0, cover=0.3, step=0.1), line(4.0, cover=0.3, step=0.1)],
    ids=["hat", "shadow", "far side of the face"],
)
def test_what_lies_outside_and_shows_in_part_is_no_edge(stranger: RimLine) -> None:
    best = likely_rims([*VENTED, stranger])[0]
    assert (best.top.height_mm, best.bottom.height_mm) == (0.0, -THICK_MM)


def test_a_solid_ring_has_two_edges_and_chamfers() -> None:
    best = likely_rims([line(0.0), line(-1.2), line(-10.8), line(-12.0)])[0]
    assert best.thickness_mm == pytest.approx(12.0)


def test_an_edge_that_hardly_shows_is_less_sure() -> None:
    faint = [*VENTED[:-1], line(-THICK_MM, cover=0.3, step=0.06)]
    assert likely_rims(faint)[0].probability < likely_rims(VENTED)[0].probability


def test_no_pair_is_as_thick_as_a_hat_is_high() -> None:
    assert likely_rims([line(0.0), line(-60.0)]) == []
    assert likely_rims([line(0.0)]) == []
    assert likely_rims([]) == []


@settings(deadline=None, max_examples=40)
@given(st.permutations(range(len(VENTED))), st.floats(-40, 40))
def test_order_and_the_cameras_height_do_not_matter(order: list[int], shift_mm: float) -> None:
    moved = [line(VENTED[i].height_mm + shift_mm, VENTED[i].cover, VENTED[i].step) for i in order]
    found, plain = likely_rims(moved), likely_rims(VENTED)
    assert found[0].thickness_mm == pytest.approx(THICK_MM)
    assert found[0].probability == pytest.approx(plain[0].probability, abs=1e-6)
    assert sum(rims.probability for rims in found) == pytest.approx(1.0)
