"""Rotors as solids, held against closed formulas and against what trimesh makes of the triangles."""

import importlib
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from sample_images_synthetic.studio.pattern import Pattern
from sample_images_synthetic.studio.rotor import Rotor, draw_rotor

REASON = "meshes need the extra 'studio' (pip install 'whichrotor[studio]')"
for _library in ("manifold3d", "shapely", "trimesh"):
    pytest.importorskip(_library, reason=REASON)

trimesh: Any = importlib.import_module("trimesh")
rotor_mesh: Any = importlib.import_module("sample_images_synthetic.studio.rotor_mesh")
rotor_solid: Any = importlib.import_module("sample_images_synthetic.studio.rotor_solid")
rotor_tools: Any = importlib.import_module("sample_images_synthetic.studio.rotor_tools")
solid: Any = importlib.import_module("sample_images_synthetic.studio.solid")

RIM_ERROR_MM = 0.001  # float rounding and the sagitta of 1440 sides
CASES = [
    ("plain", "solid", "one-piece"),
    ("drilled", "vented", "one-piece"),
    ("dimpled+slotted", "vented", "two-piece"),
    ("drilled+slotted", "solid", "one-piece"),
]


@pytest.fixture(scope="module", params=CASES, ids=lambda case: " ".join(case))
def built(request: pytest.FixtureRequest) -> tuple[Rotor, dict[str, Any]]:
    surface, ventilation, construction = request.param
    rotor = draw_rotor(
        np.random.default_rng(11), surface=surface, ventilation=ventilation, construction=construction, used=True
    )
    return rotor, rotor_mesh.rotor_meshes(rotor)


def test_a_disc_has_the_volume_of_its_formula() -> None:
    """Pi r**2 h, less what a polygon of n sides leaves out: a factor sin(t) / t with t = 2 pi / n."""
    disc = solid.turned([(0.0, 0.0), (165.0, 0.0), (165.0, 28.0), (0.0, 28.0)], 1440)
    t = 2 * np.pi / 1440
    assert disc.volume() == pytest.approx(np.pi * 165**2 * 28 * np.sin(t) / t, rel=1e-6)


def test_drilling_takes_the_volume_of_the_holes() -> None:
    """A cylinder each, and at each end the ring of the countersink: pi c**2 (r + c / 3)."""
    rotor = draw_rotor(np.random.default_rng(3), surface="drilled", ventilation="solid", used=False)
    plain = replace(rotor, surface="plain", pattern=Pattern())
    taken = rotor_solid.rotor_volume_mm3(plain)["iron"] - rotor_solid.rotor_volume_mm3(rotor)["iron"]
    hole = rotor.pattern.holes[0]
    r, c = hole.diameter_mm / 2, hole.countersink_mm
    each = np.pi * r**2 * rotor.thickness_mm + 2 * np.pi * c**2 * (r + c / 3)
    t = 2 * np.pi / rotor_tools.HOLE_SEGMENTS
    assert taken == pytest.approx(len(rotor.pattern.holes) * each * np.sin(t) / t, rel=1e-4)


def test_the_zones_together_are_the_closed_solid(built: tuple[Rotor, dict[str, Any]]) -> None:
    rotor, meshes = built
    whole = trimesh.util.concatenate([mesh for name, mesh in meshes.items() if name != "rivets"])
    whole.merge_vertices(merge_norm=True, merge_tex=True)
    expected = sum(rotor_solid.rotor_volume_mm3(rotor).values())
    assert whole.volume == pytest.approx(expected, rel=1e-5)


def test_the_rim_and_the_heights_are_where_the_drawing_says(built: tuple[Rotor, dict[str, Any]]) -> None:
    rotor, meshes = built
    wall = meshes["wall"].vertices
    radius = np.hypot(wall[:, 0], wall[:, 1])
    assert radius.max() == pytest.approx(rotor.diameter_mm / 2, abs=RIM_ERROR_MM)
    assert wall[:, 2].max() == pytest.approx(rotor.rim_z_mm, abs=RIM_ERROR_MM)
    assert wall[:, 2].min() == pytest.approx(-rotor.thickness_mm - rotor.rim_z_mm, abs=RIM_ERROR_MM)
    assert meshes["hat"].vertices[:, 2].max() == pytest.approx(rotor.hat_z_mm, abs=RIM_ERROR_MM)
    everything = np.concatenate([mesh.vertices for mesh in meshes.values()])
    assert np.hypot(*everything[:, :2].T).max() <= rotor.diameter_mm / 2 + RIM_ERROR_MM


def test_the_swept_band_lies_below_the_lip(built: tuple[Rotor, dict[str, Any]]) -> None:
    rotor, meshes = built
    swept = meshes["swept"].vertices
    np.testing.assert_allclose(swept[:, 2], rotor.swept_z_mm, rtol=0, atol=RIM_ERROR_MM)
    radius = np.hypot(swept[:, 0], swept[:, 1])
    assert radius.min() == pytest.approx(rotor.swept_inner_mm / 2, abs=0.05)
    assert meshes["lip"].vertices[:, 2].max() == pytest.approx(0.0, abs=RIM_ERROR_MM)
    np.testing.assert_allclose(meshes["swept"].vertex_normals[:, 2], 1.0, rtol=0, atol=1e-6)


def test_edges_stay_sharp_and_the_wall_smooth(built: tuple[Rotor, dict[str, Any]]) -> None:
    _, meshes = built
    wall = meshes["wall"]
    outward = wall.vertices[:, :2] / np.hypot(*wall.vertices[:, :2].T)[:, None]
    outer = np.hypot(*wall.vertices[:, :2].T) > np.hypot(*wall.vertices[:, :2].T).max() - RIM_ERROR_MM
    along = (wall.vertex_normals[:, :2] * outward).sum(axis=1)[outer]
    # Half a degree: two facets of the rim.
    assert along.min() > np.cos(np.radians(0.5))


def test_zones_are_those_documented_and_their_textures_fit(built: tuple[Rotor, dict[str, Any]]) -> None:
    rotor, meshes = built
    assert set(meshes) <= set(rotor_mesh.ZONES)
    assert ("vents" in meshes) == (rotor.ventilation == "vented")
    assert ("rivets" in meshes) == (rotor.construction == "two-piece")
    for kind, zone in (("drilled", "holes"), ("dimpled", "dimples"), ("slotted", "slots")):
        assert (zone in meshes) == (kind in rotor.surface)
    for name, mesh in meshes.items():
        if name not in rotor_mesh.WRAPPED_ZONES:
            expected = mesh.vertices[:, :2] / rotor.diameter_mm + 0.5
            np.testing.assert_allclose(mesh.visual.uv, expected, rtol=0, atol=1e-9)
        else:
            assert np.ptp(mesh.visual.uv[mesh.faces][:, :, 0], axis=1).max() < 0.5


def test_dimples_and_slots_are_as_deep_as_drawn() -> None:
    rotor = draw_rotor(np.random.default_rng(5), surface="dimpled+slotted", ventilation="vented", used=True)
    meshes = rotor_mesh.rotor_meshes(rotor)
    for zone, depth in (("dimples", rotor.pattern.dimples[0].depth_mm), ("slots", rotor.pattern.slots[0].depth_mm)):
        z = meshes[zone].vertices[:, 2]
        upper = z[z > -rotor.thickness_mm / 2]
        assert rotor.swept_z_mm - upper.min() == pytest.approx(depth, abs=RIM_ERROR_MM)


def test_a_drilled_hole_lets_the_light_through_the_cheek() -> None:
    """A ray down each hole's middle meets nothing of a solid rotor."""
    rotor = draw_rotor(np.random.default_rng(4), surface="drilled", ventilation="solid", used=True)
    iron, _ = rotor_solid.ring_solid(rotor)
    needles = solid.united(
        [solid.cylinder(0.5, 60, z_mm=-40).translate((*hole.xy_mm, 0)) for hole in rotor.pattern.holes]
    )
    assert (iron ^ needles).is_empty()
    beside = needles.rotate((0, 0, 180 / len(rotor.pattern.holes) / 3)).translate((12, 0, 0))
    assert not (iron ^ beside).is_empty()
