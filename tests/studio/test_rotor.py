"""Rotors drawn by seed: lengths that the trade knows, features that fit, truth in the contract's words."""

from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray

from sample_images_synthetic.studio.pattern import SURFACES, Dimple, Hole, Pattern, Surface
from sample_images_synthetic.studio.rotor import PITCH_CIRCLES_MM, Rotor, draw_rotor

SEEDS = range(300)


@pytest.fixture(scope="module")
def rotors() -> list[Rotor]:
    return [draw_rotor(np.random.default_rng(seed)) for seed in SEEDS]


def spots_of(pattern: Pattern) -> NDArray[np.float64]:
    """Middle (x, y) and radius of every hole and dimple, (N, 3)."""
    round_ones: list[Hole | Dimple] = [*pattern.holes, *pattern.dimples]
    return np.array([(*f.xy_mm, f.diameter_mm / 2) for f in round_ones]).reshape(-1, 3)


def test_the_same_seed_draws_the_same_rotor() -> None:
    assert draw_rotor(np.random.default_rng(7)) == draw_rotor(np.random.default_rng(7))
    assert draw_rotor(np.random.default_rng(7)) != draw_rotor(np.random.default_rng(8))


@pytest.mark.parametrize(
    ("length", "low", "high"),
    [
        ("diameter_mm", 250, 400),
        ("thickness_mm", 8, 38),
        ("height_mm", 25, 75),
        ("centre_bore_mm", 55, 80),
        ("bolt_circle_mm", 98, 130),
        ("chamfer_mm", 0.5, 1.5),
    ],
)
def test_lengths_fill_their_range_and_keep_to_it(rotors: list[Rotor], length: str, low: float, high: float) -> None:
    values = np.array([getattr(rotor, length) for rotor in rotors])
    assert values.min() >= low
    assert values.max() <= high
    assert np.ptp(values) > 0.8 * (high - low)


def test_rotors_are_put_together_as_real_ones_are(rotors: list[Rotor]) -> None:
    for rotor in rotors:
        assert rotor.bolt_circle_mm in PITCH_CIRCLES_MM
        assert rotor.centre_bore_mm + rotor.bolt_hole_mm < rotor.bolt_circle_mm
        assert rotor.bolt_circle_mm + rotor.bolt_hole_mm < rotor.hat_mm < rotor.ring_inner_mm
        assert rotor.ring_inner_mm <= rotor.swept_inner_mm < rotor.swept_outer_mm < rotor.diameter_mm
        assert 45 <= (rotor.diameter_mm - rotor.ring_inner_mm) / 2 <= 70
        assert (rotor.ventilation == "solid") == (rotor.thickness_mm <= 14)
        assert rotor.hat_z_mm >= 10
        if rotor.vanes:
            assert 30 <= rotor.vanes.count <= 60
            assert rotor.vanes.cheek_mm > rotor.wear_mm + 3
            assert rotor.thickness_mm - 2 * rotor.vanes.cheek_mm > 3
        if rotor.joint:
            assert rotor.ventilation == "vented"
            assert 8 <= rotor.joint.rivet_count <= 14
            assert rotor.hat_mm < rotor.joint.rivet_circle_mm - rotor.joint.head_mm
            assert rotor.joint.rivet_circle_mm + rotor.joint.head_mm < rotor.ring_inner_mm


def test_every_kind_turns_up(rotors: list[Rotor]) -> None:
    assert {rotor.surface for rotor in rotors} == set(SURFACES)
    assert {rotor.construction for rotor in rotors} == {"one-piece", "two-piece"}
    assert {rotor.bolt_count for rotor in rotors} == {4, 5, 6}
    assert {len(rotor.locating_holes) for rotor in rotors} == {0, 1, 2}
    assert {rotor.vanes.lean_rad > 0 for rotor in rotors if rotor.vanes and rotor.vanes.lean_rad} == {True, False}


def test_worn_rotors_keep_a_lip_and_new_ones_have_none(rotors: list[Rotor]) -> None:
    for rotor in rotors:
        assert rotor.swept_thickness_mm == pytest.approx(rotor.thickness_mm - 2 * rotor.wear_mm, abs=1e-9)
        lip_mm = (rotor.diameter_mm - rotor.swept_outer_mm) / 2 - rotor.chamfer_mm
        if rotor.wear_mm:
            assert 0.1 <= rotor.wear_mm <= 1.5
            assert 1 - 1e-9 <= lip_mm <= 4 + 1e-9
            assert rotor.swept_z_mm == -rotor.wear_mm
        else:
            assert lip_mm == pytest.approx(0, abs=1e-9)


@pytest.mark.parametrize("surface", SURFACES)
def test_a_surface_has_the_features_of_its_name_and_no_others(surface: Surface) -> None:
    for seed in range(40):
        pattern = draw_rotor(np.random.default_rng(seed), surface=surface).pattern
        assert bool(pattern.holes) == ("drilled" in surface)
        assert bool(pattern.dimples) == ("dimpled" in surface)
        assert bool(pattern.slots) == ("slotted" in surface)


def test_features_stay_in_the_band_and_apart(rotors: list[Rotor]) -> None:
    for rotor in rotors:
        spots = spots_of(rotor.pattern)
        if not len(spots):
            continue
        radius = np.hypot(spots[:, 0], spots[:, 1])
        assert (radius + spots[:, 2]).max() < rotor.swept_outer_mm / 2
        assert (radius - spots[:, 2]).min() > rotor.swept_inner_mm / 2
        gaps = np.hypot(*(spots[:, None, :2] - spots[None, :, :2]).transpose(2, 0, 1)) - 2 * spots[0, 2]
        np.fill_diagonal(gaps, np.inf)
        assert gaps.min() > 0.8


def test_slots_and_holes_never_meet(rotors: list[Rotor]) -> None:
    for rotor in rotors:
        spots = spots_of(rotor.pattern)
        if not len(spots) or not rotor.pattern.slots:
            continue
        steps = np.linspace(0, 1, 12)[:, None, None]
        paths = np.array([slot.path_mm for slot in rotor.pattern.slots])
        fine = (paths[:, None, :-1] * (1 - steps) + paths[:, None, 1:] * steps).reshape(-1, 2)
        gaps = np.hypot(*(fine[:, None] - spots[None, :, :2]).transpose(2, 0, 1)) - spots[:, 2]
        assert gaps.min() > rotor.pattern.slots[0].width_mm / 2


def test_holes_repeat_round_the_ring(rotors: list[Rotor]) -> None:
    """Turned by one repeat, the pattern falls on itself: dirt doesn't do that."""
    drilled = [rotor for rotor in rotors if rotor.surface == "drilled"]
    assert drilled
    for rotor in drilled:
        at = spots_of(rotor.pattern)[:, :2] @ [1, 1j]
        turned = [at * np.exp(2j * np.pi / n) for n in range(4, 17)]
        misses = [np.abs(t[:, None] - at[None]).min(axis=1).max() for t in turned]
        assert min(misses) < 1e-6


def test_truth_speaks_the_contract(rotors: list[Rotor]) -> None:
    keys = (
        "diameter_mm ring_inner_mm hat_mm centre_bore_mm bolt_count bolt_circle_mm thickness_mm "
        "swept_thickness_mm height_mm ventilation construction surface feature_count"
    )
    for rotor in rotors[:20]:
        truth = rotor.truth()
        assert set(truth) == set(keys.split())
        assert truth["diameter_mm"] == pytest.approx(rotor.diameter_mm, abs=5e-4)
        features = len(rotor.pattern.holes) + len(rotor.pattern.dimples) + len(rotor.pattern.slots)
        assert truth["feature_count"] == features


def test_heights_are_told_as_the_trade_tells_them(rotors: list[Rotor]) -> None:
    """Overall height: from the ring's far face to the hat's mounting face."""
    taller = replace(rotors[0], height_mm=rotors[0].height_mm + 1)
    assert taller.hat_z_mm == pytest.approx(rotors[0].hat_z_mm + 1)
    assert taller.hat_z_mm + taller.thickness_mm == pytest.approx(taller.height_mm)
