"""References and clutter as solids: as large as drawn, closed, standing where they should."""

import importlib
from typing import Any

import numpy as np
import pytest

from sample_images_synthetic.studio.reference import COIN_SIZES, draw_card, draw_coin, draw_sheet, draw_tag
from sample_images_synthetic.studio.rotor import draw_rotor

REASON = "meshes need the extra 'studio' (pip install 'whichrotor[studio]')"
for _library in ("manifold3d", "shapely", "trimesh"):
    pytest.importorskip(_library, reason=REASON)

manifold3d: Any = importlib.import_module("manifold3d")
rotor_solid: Any = importlib.import_module("sample_images_synthetic.studio.rotor_solid")
reference_mesh: Any = importlib.import_module("sample_images_synthetic.studio.reference_mesh")
clutter: Any = importlib.import_module("sample_images_synthetic.studio.clutter")
car_parts: Any = importlib.import_module("sample_images_synthetic.studio.car_parts")

EDGE_ERROR_MM = 0.002


def corners_of(item: Any) -> Any:
    return np.concatenate([part.mesh.vertices for part in item.values()])


def solid_of(part: Any) -> Any:
    """The part's shell joined again to a solid."""
    mesh = manifold3d.Mesh(part.mesh.vertices.astype(np.float32), part.mesh.faces.astype(np.uint32))
    mesh.merge()
    return manifold3d.Manifold(mesh)


def source(seed: int) -> np.random.Generator:
    return np.random.default_rng(seed)


def test_a_card_is_as_large_as_drawn_and_its_print_lies_over_all_of_it() -> None:
    card = draw_card(source(1))
    part = reference_mesh.reference_parts(card)["card"]
    np.testing.assert_allclose(
        np.ptp(part.mesh.vertices, axis=0),
        [card.width_mm, card.height_mm, card.thickness_mm],
        rtol=0,
        atol=EDGE_ERROR_MM,
    )
    area = card.width_mm * card.height_mm - (4 - np.pi) * card.corner_radius_mm**2
    assert part.mesh.volume == pytest.approx(area * card.thickness_mm, rel=1e-4)
    assert part.mesh.visual.uv.min() == pytest.approx(0, abs=1e-6)
    assert part.mesh.visual.uv.max() == pytest.approx(1, abs=1e-6)


def test_a_print_is_read_from_above_and_not_mirrored() -> None:
    """The top left corner (-x, +y) carries the texture's first pixel: u = 0, v = 0."""
    mesh = reference_mesh.reference_parts(draw_tag(source(1), 5))["tag"].mesh
    corner = np.argmax(mesh.vertices @ [-1, 1, 0.1])
    assert mesh.visual.uv[corner] == pytest.approx([0, 0], abs=0.02)


@pytest.mark.parametrize("name", COIN_SIZES)
def test_a_coin_is_as_large_as_drawn(name: str) -> None:
    coin = draw_coin(source(2), name)
    vertices = corners_of(reference_mesh.reference_parts(coin))
    reach = np.hypot(vertices[:, 0], vertices[:, 1]).max()
    assert 2 * reach == pytest.approx(coin.diameter_mm, abs=EDGE_ERROR_MM)
    assert vertices[:, 2].min() == pytest.approx(0, abs=EDGE_ERROR_MM)
    assert vertices[:, 2].max() == pytest.approx(coin.thickness_mm, abs=EDGE_ERROR_MM)


def test_a_sheet_is_closed_and_thin() -> None:
    sheet = draw_sheet(source(5), "a4")
    mesh = reference_mesh.reference_parts(sheet)["sheet"].mesh
    volume = sheet.width_mm * sheet.height_mm * sheet.thickness_mm
    assert mesh.volume == pytest.approx(volume, rel=1e-6)
    for corner in sheet.figure_mm():
        assert np.abs(mesh.vertices - corner).max(axis=1).min() < EDGE_ERROR_MM


@pytest.mark.parametrize("name", sorted(clutter.BENCH_THINGS))
def test_things_stand_on_the_bench(name: str) -> None:
    for seed in range(3):
        item = clutter.bench_thing(source(seed), name)
        assert corners_of(item)[:, 2].min() >= -0.5
        assert all(part.mesh.volume > 0 for part in item.values())


def test_an_unknown_thing_is_told_which_there_are() -> None:
    with pytest.raises(ValueError, match=r"spanner.*not 'anvil'"):
        clutter.bench_thing(source(0), "anvil")


@pytest.mark.parametrize("span_deg", [60.0, 95.0])
def test_a_caliper_hides_as_much_of_the_rim_as_asked_and_touches_nothing(span_deg: float) -> None:
    rotor = draw_rotor(source(6), used=True)
    item = car_parts.caliper(source(6), rotor, span_deg=span_deg)
    vertices = item["caliper"].mesh.vertices
    radius = np.hypot(vertices[:, 0], vertices[:, 1])
    turn = np.degrees(np.arctan2(vertices[:, 1], vertices[:, 0]))
    over_rim = radius > rotor.diameter_mm / 2
    assert np.ptp(turn[over_rim]) == pytest.approx(span_deg, abs=0.5)
    iron, _ = rotor_solid.ring_solid(rotor)
    for part in item.values():
        assert (iron ^ solid_of(part)).is_empty()
    pads = item["pads"].mesh.vertices[:, 2]
    assert pads[pads > -rotor.thickness_mm / 2].min() == pytest.approx(rotor.swept_z_mm + 0.3, abs=1e-6)


def test_the_wheel_leaves_the_rotor_room() -> None:
    rotor = draw_rotor(source(8))
    item = car_parts.spoked_wheel(source(8), rotor, spokes=7)
    vertices = item["wheel"].mesh.vertices
    in_the_way = (vertices[:, 2] < rotor.hat_z_mm - 0.01) & (np.hypot(*vertices[:, :2].T) < rotor.diameter_mm / 2 + 10)
    assert not in_the_way.any()
