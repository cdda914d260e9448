"""Vehicle identification numbers against the rule's own worked example and public test numbers."""

import pytest

from catalogue.vin import MUST_CHECK, VALUES, WEIGHTS, check_digit, examine_vin

# 49 CFR 565.15(c), worked example (Table VI): the products, their sum 411, remainder 4.
CFR_EXAMPLE = "1G4AH59H45G118341"
CFR_PRODUCTS = (8, 49, 24, 5, 32, 15, 18, 80, 0, 45, 56, 7, 6, 40, 12, 12, 2)

# Numbers found in several public test suites for VIN check digits.
PUBLIC_GOOD = ("1M8GDM9AXKP042788", "11111111111111111")
PUBLIC_BAD = "1G4AH59H45G118331"


def test_the_rules_worked_example_is_followed_product_by_product() -> None:
    products = tuple(VALUES[character] * weight for character, weight in zip(CFR_EXAMPLE, WEIGHTS, strict=True))
    assert products == CFR_PRODUCTS
    assert sum(products) == 411
    assert check_digit(CFR_EXAMPLE) == "4"
    assert examine_vin(CFR_EXAMPLE).well_formed


@pytest.mark.parametrize("vin", PUBLIC_GOOD)
def test_public_test_numbers_check(vin: str) -> None:
    report = examine_vin(vin)
    assert report.well_formed
    assert report.check_digit == vin[8]
    assert report.notices == ()
    assert report.mishearings == ()


def test_a_wrong_check_digit_is_a_fault_where_the_law_asks_for_it() -> None:
    report = examine_vin(PUBLIC_BAD)
    assert not report.well_formed
    assert "the ninth character is 4, the others call for 1" in report.faults[0]


def test_a_wrong_check_digit_is_only_a_notice_elsewhere() -> None:
    report = examine_vin("Y" + CFR_EXAMPLE[1:])
    assert report.check_digit != "4"
    assert report.well_formed
    assert "no fault where the number starts with Y" in report.notices[0]
    assert report.mishearings == ()


@pytest.mark.parametrize("first", sorted(MUST_CHECK))
def test_the_regions_that_must_check_are_those_of_the_contract(first: str) -> None:
    wrong = next(digit for digit in "0123456789" if digit != check_digit(first + CFR_EXAMPLE[1:]))
    assert not examine_vin(f"{first}{CFR_EXAMPLE[1:8]}{wrong}{CFR_EXAMPLE[9:]}").well_formed
    assert frozenset("12345L") == MUST_CHECK


@pytest.mark.parametrize(
    ("place", "heard"), [(1, "J"), (3, "8"), (5, "9"), (7, "A"), (10, "T")], ids=["G/J", "A/8", "5/9", "H/A", "G/T"]
)
def test_a_letter_that_sounds_alike_is_offered_back(place: int, heard: str) -> None:
    report = examine_vin(CFR_EXAMPLE[:place] + heard + CFR_EXAMPLE[place + 1 :])
    assert not report.well_formed
    assert CFR_EXAMPLE in [mishearing.vin for mishearing in report.mishearings]


def test_two_neighbours_swapped_are_offered_back() -> None:
    heard = CFR_EXAMPLE[:14] + CFR_EXAMPLE[15] + CFR_EXAMPLE[14] + CFR_EXAMPLE[16]
    meant = [mishearing.vin for mishearing in examine_vin(heard).mishearings if mishearing.kind == "swapped"]
    assert CFR_EXAMPLE in meant


def test_every_number_offered_checks_and_differs_in_two_places_at_most() -> None:
    for vin in (PUBLIC_BAD, "1M8GDM9AXKP042789", "1N4AH59H45G118341"):
        report = examine_vin(vin)
        assert report.mishearings
        for mishearing in report.mishearings:
            assert examine_vin(mishearing.vin).well_formed
            assert 1 <= sum(old != new for old, new in zip(vin, mishearing.vin, strict=True)) <= 2


@pytest.mark.parametrize("heard", ["IG4AH59H45G118341", "1G4AH59H45GI18341", "IG4AH59H45GII8341"])
def test_a_letter_that_is_never_used_is_read_as_the_digit(heard: str) -> None:
    report = examine_vin(heard)
    assert "I, O and Q are never used" in report.faults[0]
    assert [mishearing.vin for mishearing in report.mishearings] == [CFR_EXAMPLE]


def test_o_and_q_are_read_as_nought() -> None:
    for letter in "OQ":
        report = examine_vin(PUBLIC_GOOD[0].replace("0", letter))
        assert [mishearing.vin for mishearing in report.mishearings] == [PUBLIC_GOOD[0]]


def test_a_letter_never_used_and_one_slip_more_are_found_together() -> None:
    report = examine_vin("IG4AH99H45G118341")
    assert CFR_EXAMPLE in [mishearing.vin for mishearing in report.mishearings]


@pytest.mark.parametrize(
    ("text", "fault"),
    [("", "length: 0"), ("1G4AH59H45G11834", "length: 16"), ("1G4AH59H45G1183411", "length: 18"),
     ("1G4AH59H45G11834Ä", "Ä"), ("1G4AH59H45G11834٣", "cannot stand")],
)  # fmt: skip
def test_bad_form_is_one_clear_line(text: str, fault: str) -> None:
    report = examine_vin(text)
    assert not report.well_formed
    assert report.check_digit is None
    assert len(report.faults) == 1
    assert fault in report.faults[0]
    assert "\n" not in report.faults[0]


def test_spaces_dashes_and_small_letters_do_not_matter() -> None:
    assert examine_vin(" 1g4-ah59h 45g.118341 ") == examine_vin(CFR_EXAMPLE)


def test_nothing_is_decoded() -> None:
    assert examine_vin(CFR_EXAMPLE).to_json() == {
        "vin": CFR_EXAMPLE, "well_formed": True, "check_digit": "4", "faults": [], "notices": [], "mishearings": [],
    }  # fmt: skip


def test_the_check_digit_asks_for_a_whole_number() -> None:
    with pytest.raises(ValueError, match="17 of the characters"):
        check_digit("1G4")
