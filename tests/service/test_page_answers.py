"""From what is typed to evidence: read in its unit, caught where it can't be, said back word for word."""

from collections.abc import Mapping
from dataclasses import replace

import pytest

from catalogue import Catalogue, identify, load_catalogue, read_evidence
from service.pages.answers import next_checks_of, verdicts_of
from service.pages.evidence import evidence_of, faults_of, told_options
from service.pages.forms import take_answers, take_wanted
from service.pages.job import Answer, Job, Shot
from service.pages.lengths import Unit, read_length, show_length
from service.pages.plausible import Bounds, bounds_of

INCH_MM = 25.4  # exact: international yard and pound agreement, 1959


@pytest.fixture(scope="module")
def demo() -> Catalogue:
    return load_catalogue(None)


@pytest.fixture(scope="module")
def bounds(demo: Catalogue) -> dict[str, Bounds]:
    return bounds_of(demo)


@pytest.mark.parametrize(
    ("text", "unit", "length_mm"),
    [
        ("330", "mm", 330.0),
        ("23,2", "mm", 23.2),
        ("13", "in", 13 * INCH_MM),
        ("13 in", "mm", 13 * INCH_MM),
        ("12 63/64 in", "mm", (12 + 63 / 64) * INCH_MM),
        ("330 mm", "in", 330.0),
        ("33 cm", "in", 330.0),
    ],
)
def test_a_length_is_read_in_its_own_unit_or_else_the_one_on_show(text: str, unit: Unit, length_mm: float) -> None:
    assert read_length(text, unit) == pytest.approx(length_mm, rel=0, abs=1e-9)


@pytest.mark.parametrize("text", ["", "wide", "-3", "0", "1/0 in", "13 ft", "nan"])
def test_what_is_no_length_is_told_with_examples(text: str) -> None:
    with pytest.raises(ValueError, match=r"is no length; write it like 330, 23\.2 mm, 13 in or 12 63/64 in"):
        read_length(text, "mm")


@pytest.mark.parametrize(("length_mm", "mm", "inches"), [(330.2, "330.2 mm", "13.000 in"), (24.0, "24 mm", "0.945 in")])
def test_a_length_is_shown_in_the_readers_unit(length_mm: float, mm: str, inches: str) -> None:
    assert (show_length(length_mm, "mm"), show_length(length_mm, "in")) == (mm, inches)


@pytest.mark.parametrize(
    ("place", "text", "said"),
    [
        ("front.diameter_mm", "3300", "3300 mm can't be right"),
        ("front.diameter_mm", "13", "Is it 13 in?"),
        ("front.thickness_mm", "23.1; 230", "230 mm can't be right"),
        ("front.bolt_count", "five", "“five” is no number"),
        ("front.bolt_count", "4.5", "can't be counted"),
        ("car.wheel_in", "45", "45 in can't be right: 10 in to 26 in is plausible"),
        ("car.built", "March 21", "write year and month, such as 2021-03"),
    ],
)
def test_an_impossible_answer_is_told_and_left_out(
    bounds: Mapping[str, Bounds], place: str, text: str, said: str
) -> None:
    job = Job().answer(place, Answer(text)).answer("front.surface", Answer("plain"))
    assert said in faults_of(job, dict(bounds))[place]
    assert evidence_of(job, dict(bounds))["axles"] == {"front": {"surface": "plain"}}


def test_every_rotor_of_the_catalogue_is_plausible_even_worn_out(demo: Catalogue, bounds: Mapping[str, Bounds]) -> None:
    for row in range(len(demo.rotors)):
        rotor = demo.rotors.row(row)
        worn = rotor.min_thickness_mm or rotor.thickness_mm - 2
        job = Job().answer("front.diameter_mm", Answer(f"{rotor.diameter_mm}"))
        job = job.answer("front.thickness_mm", Answer(f"{worn - 1}"))
        assert faults_of(job, dict(bounds)) == {}


def test_answers_become_evidence_that_the_catalogue_takes(demo: Catalogue, bounds: Mapping[str, Bounds]) -> None:
    vehicle = dict(zip(("line", "model"), demo.fitments.models[0], strict=True))
    job = replace(take_wanted(Job(), {"axle": "both", "parts": "rotor"}), vehicle={**vehicle, "year": "2020"})
    answers = {
        "car.built": "2020-05",
        "car.option_code": "AB1, CD2",
        "car.wheel_in": "17",
        "rear.thickness_mm": "0.85",
        "rear.thickness_mm:unit": "in",
        "front.bolt_count": "5",
    }
    job = take_answers(job, answers)
    evidence = evidence_of(job, dict(bounds))
    assert evidence["vehicle"] == {**vehicle, "year": 2020, "built": "2020-05"}
    assert evidence["option_codes"] == ["AB1", "CD2"]
    assert evidence["axles"]["front"] == {"wheel_in": 17.0, "bolt_count": 5}
    assert evidence["axles"]["rear"] == {"wheel_in": 17.0, "thickness_mm": pytest.approx(0.85 * INCH_MM, abs=1e-3)}
    assert evidence["wanted"] == [{"axle": "front", "part": "rotor"}, {"axle": "rear", "part": "rotor"}]
    said = identify(demo, read_evidence(evidence)).to_json()
    assert [verdict.part for verdict in verdicts_of(said)] == ["Front rotor", "Rear rotor"]


def test_an_emptied_field_takes_its_answer_back() -> None:
    job = take_answers(Job(), {"front.surface": "plain"})
    assert take_answers(job, {"front.surface": ""}).answers == {}


def test_a_form_cannot_answer_what_nobody_asks() -> None:
    assert (
        take_answers(Job(), {"middle.surface": "plain", "front.nonsense": "1", "front.surface:tool": "x"}).answers == {}
    )


def test_the_other_axle_may_tell_the_package(bounds: Mapping[str, Bounds]) -> None:
    job = take_answers(Job(axle="front", parts="rotor"), {"rear.diameter_mm": "262"})
    evidence = evidence_of(job, dict(bounds))
    assert evidence["axles"] == {"front": {}, "rear": {"diameter_mm": 262.0}}
    assert evidence["wanted"] == [{"axle": "front", "part": "rotor"}]
    assert (job.axle_words("rear.diameter_mm"), job.axle_words("front.diameter_mm")) == ("rear", "")


def test_dont_know_is_remembered_and_can_be_answered_later() -> None:
    job = Job().pass_over("front.surface")
    assert job.passed == ("front.surface",)
    later = job.answer("front.surface", Answer("plain"))
    assert (later.passed, later.answers["front.surface"].text) == ((), "plain")


def test_a_thickness_read_by_hand_helps_the_photo(bounds: Mapping[str, Bounds]) -> None:
    job = Job().answer("front.thickness_mm", Answer("0.9; 0.91", "in"))
    assert told_options(job, "front", dict(bounds)) == {"thickness_mm": f"{0.9 * INCH_MM:g}"}


def test_a_job_survives_its_wire_form() -> None:
    shot = Shot("k", "a.jpg", "front", {"view": "edge"}, {"status": "refused"})
    job = Job(axle="rear", vehicle={"year": "2020"}, shots=(shot,)).answer(
        "rear.surface", Answer("plain", "in", "tape")
    )
    assert Job.from_wire(job.to_wire()) == job


def test_photos_can_be_replaced_and_left_out() -> None:
    first, second = Shot("a", "1.jpg", "front"), Shot("b", "2.jpg", "front")
    job = Job().with_shot(first).with_shot(second).with_shot(Shot("a", "3.jpg", "front"))
    assert [shot.name for shot in job.shots] == ["3.jpg", "2.jpg"]
    assert job.without_shot("a").shots == (second,)


def test_the_wheel_is_asked_for_once_and_of_the_car() -> None:
    told = [("wheel_in", "rear"), ("thickness_mm", "front"), ("wheel_in", "front")]
    checks = [{"check": key, "axle": axle, "gain_bits": 1.0, "minutes": 1, "how": "…"} for key, axle in told]
    found = [(check.key, check.axle) for check in next_checks_of({"next_checks": checks})]
    assert found == [("wheel_in", "car"), ("thickness_mm", "front")]
