"""Options as texts: the same words from the command line, a form and a spreadsheet."""

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from service.options import OptionError, Order, parse_order


def test_nothing_said_is_the_default() -> None:
    assert parse_order({}) == Order()
    assert parse_order({"lies": None, "thickness_mm": "", "view": "  "}) == Order()


def test_every_option_arrives() -> None:
    order = parse_order(
        {
            "view": "edge",
            "reference": "tag:39.2",
            "lies": "bench",
            "hat": "down",
            "lift_mm": "0",
            "thickness_mm": "24.5",
            "height_mm": "52",
            "diameter_mm": "330",
        }
    )
    request = order.request
    assert (order.view, request.reference, request.lies, request.hat) == ("edge", "tag:39.2", "bench", "down")
    assert (request.lift_mm, request.thickness_mm, request.height_mm, request.diameter_mm) == (0.0, 24.5, 52.0, 330.0)
    assert order.told == {"thickness_mm": 24.5, "height_mm": 52.0, "diameter_mm": 330.0}


def test_lift_is_of_the_reference_and_no_reading_of_the_rotor() -> None:
    assert parse_order({"lift_mm": "3"}).told == {}


def test_points_are_read_as_pairs_of_x_and_y() -> None:
    request = parse_order({"rim": "1,2 3,4.5 -5,6", "reference_points": "1,1 2,2"}).request
    np.testing.assert_array_equal(request.rim_xy_px, [[1, 2], [3, 4.5], [-5, 6]])
    np.testing.assert_array_equal(request.reference_xy_px, [[1, 1], [2, 2]])


@pytest.mark.parametrize("kind", ["card", "tag", "tag:39.2", "tag:unmeasured", "coin:eur-2", "coin:usd-0.25", "a4"])
def test_the_contracts_references_are_taken(kind: str) -> None:
    assert parse_order({"reference": kind}).request.reference == kind


@pytest.mark.parametrize("text", ["0", "-1", "nan", "inf", "1e9", "24,5", "24 mm", "²"])
def test_an_impossible_length_names_itself_and_what_is_wanted(text: str) -> None:
    with pytest.raises(OptionError, match="thickness_mm must"):
        parse_order({"thickness_mm": text})


@given(st.dictionaries(st.sampled_from(["view", "reference", "lies", "hat", "lift_mm", "rim"]), st.text(max_size=30)))
def test_whatever_is_typed_ends_in_an_order_or_in_one_line(texts: dict[str, str]) -> None:
    try:
        outcome: object = parse_order(texts)
    except OptionError as fault:
        outcome = str(fault)
    assert outcome
