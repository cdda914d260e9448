"""Every assumption has a name, a value and a reason, and a TOML file may override it."""

from dataclasses import fields
from pathlib import Path

import pytest

from catalogue import AssumptionsError, identify, load_assumptions, load_catalogue, read_evidence
from catalogue.assumptions import Assumptions, default_assumptions


def overridden(folder: Path, text: str) -> Assumptions:
    path = folder / "assumptions.toml"
    path.write_text(text, encoding="utf-8")
    return load_assumptions(path)


def test_the_contract_s_defaults() -> None:
    assumed = default_assumptions()
    assert (assumed.none_of_these, assumed.gross_error, assumed.replaced_surface) == (0.02, 0.01, 0.03)
    assert assumed.ready_from == pytest.approx(0.95)


def test_the_design_s_reading_errors() -> None:
    errors = default_assumptions().reading_std_mm
    assert errors["thickness_mm"]["caliper"] == 0.15
    assert errors["thickness_mm"]["micrometer"] == 0.05
    diameter = errors["diameter_mm"]
    assert [diameter[tool] for tool in ("caliper", "rule", "tape", "told")] == [0.3, 1.5, 1.5, 2.0]


def test_every_assumption_has_a_reason() -> None:
    assumed = default_assumptions()
    for each in fields(Assumptions):
        named = [name for name in assumed.reasons if name == each.name or name.startswith(f"{each.name}.")]
        assert named or each.name == "reasons", each.name
        assert all(len(assumed.reasons[name].split()) > 2 for name in named)


def test_some_may_be_overridden(tmp_path: Path) -> None:
    changed = overridden(
        tmp_path,
        "none_of_these = 0.1\n[wrong_order_cost]\nvalue = 100\nreason = 'far away'\n"
        "[reading_std_mm.diameter_mm]\nvalue = { told = 4.0 }\n",
    )
    default = default_assumptions()
    assert (changed.none_of_these, changed.ready_from) == (0.1, 0.99)
    assert changed.reading_std_mm["diameter_mm"] == {**default.reading_std_mm["diameter_mm"], "told": 4.0}
    assert changed.gross_error == default.gross_error


def test_an_override_changes_the_answer(tmp_path: Path) -> None:
    evidence = read_evidence({"vehicle": {"line": "Ostrabel"}})
    found = identify(load_catalogue(), evidence, assumptions=overridden(tmp_path, "none_of_these = 0.1"))
    assert found.none_of_these == pytest.approx(0.1)


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("none_of_theese = 0.1", "none_of_theese: no such assumption"),
        ("none_of_these = 1.5", "none_of_these: wanted a probability between 0 and 1"),
        ("gross_error = 0", "gross_error: wanted a probability"),
        ("lip_std_mm = -1", "lip_std_mm: wanted more than 0"),
        ("lip_std_mm = 'wide'", "lip_std_mm: wanted a number"),
        ("[confusion.ventilation]\nvalue = [[0.9, 0.2], [0.1, 0.9]]", "confusion.ventilation: .*sum of 1"),
        ("[check_minutes]\nvalue = { flying = 1 }", "check_minutes: wanted a table with some of"),
        ("none_of_these = ", "wanted a TOML file"),
    ],
)
def test_what_cannot_stand_is_named(tmp_path: Path, text: str, message: str) -> None:
    with pytest.raises(AssumptionsError, match=message):
        overridden(tmp_path, text)
