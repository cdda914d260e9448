"""From parts and light to a linear picture, by Mitsuba's path tracer."""

import importlib
import math
from typing import Any

import numpy as np

from sample_images_synthetic.studio.camera import Camera, film_size
from sample_images_synthetic.studio.light import Light
from sample_images_synthetic.studio.noise import FloatImage
from sample_images_synthetic.studio.piece import Piece
from sample_images_synthetic.studio.stage import Stage

PASSES = 4
"""Independent renderings; of each pixel the one brightest outlier is dropped (fireflies)."""


BATCH = 30_000_000
"""Samples in flight: what several renderers hold in one GPU's memory."""


def _mitsuba() -> Any:
    """Import Mitsuba when it is needed: drawing scenes and stating their truth does without."""
    return importlib.import_module("mitsuba")


def choose_variant(name: str) -> None:
    """Pick Mitsuba's backend: ``cuda_ad_rgb``, ``llvm_ad_rgb`` or ``scalar_rgb``."""
    _mitsuba().set_variant(name)


def rendered(stage: Stage, samples: int, seed: int) -> FloatImage:
    """Render a stage without the lens's distortion.

    Parameters
    ----------
    stage : Stage
        Parts, light and camera.
    samples : int
        Samples a pixel, all passes together.
    seed : int
        Of the sampler.

    Returns
    -------
    (H, W, 3) ndarray of float32
        Linear radiance on a frame a little larger than the photo's, same centre, same focal length.
    """
    scene = _mitsuba().load_dict(scene_dict(stage))
    width, height = film_size(stage.camera)
    each = max(1, min(samples // PASSES, BATCH // (width * height)))
    rounds = math.ceil(samples / each / PASSES)
    passes = np.zeros((PASSES, height, width, 3), np.float32)
    for i in range(PASSES * rounds):
        passes[i % PASSES] += np.array(_mitsuba().render(scene, spp=each, seed=seed * 1000 + i))[..., :3] / rounds
    return without_fireflies(passes)


def without_fireflies(passes: FloatImage) -> FloatImage:
    """Mean of the passes, without the brightest where it stands far above the others."""
    total = passes.sum(axis=0)
    top = passes.max(axis=0)
    rest = (total - top) / (len(passes) - 1)
    return np.asarray(np.where(top > 3 * rest + 0.02, rest, total / len(passes)), np.float32)


def scene_dict(stage: Stage) -> dict[str, Any]:
    """Mitsuba's description of the stage."""
    scene: dict[str, Any] = {
        "type": "scene",
        "integrator": {"type": "path", "max_depth": 6, "rr_depth": 5},
        "sensor": _sensor(stage.camera),
        **_lights(stage.light, stage),
    }
    surfaces: dict[int, Any] = {}
    for i, piece in enumerate(stage.pieces):
        key = id(piece.surface)
        if key not in surfaces:
            surfaces[key] = _material(piece)
        scene[f"piece{i}"] = _mesh(piece, surfaces[key], f"piece{i}")
    return scene


def _sensor(camera: Camera) -> dict[str, Any]:
    width, height = film_size(camera)
    pose = camera.pose
    to_world = np.eye(4)
    to_world[:3, :3] = np.stack([-pose.rotation[0], -pose.rotation[1], pose.rotation[2]], axis=1)
    to_world[:3, 3] = pose.position_mm
    return {
        "type": "perspective",
        "fov": math.degrees(2 * math.atan(width / 2 / camera.focal_px)),
        "fov_axis": "x",
        "near_clip": 5.0,
        "far_clip": 50000.0,
        "to_world": _mitsuba().ScalarTransform4f(to_world),
        "film": {
            "type": "hdrfilm",
            "width": width,
            "height": height,
            "pixel_format": "rgb",
            "component_format": "float32",
            "rfilter": {"type": "gaussian", "stddev": 0.45},
        },
        "sampler": {"type": "independent"},
    }


def _lights(light: Light, stage: Stage) -> dict[str, Any]:
    up = stage.up
    # The surround's own frame: z up; turned so that the world's "up" is where gravity says.
    turn = math.radians(light.turn_deg)
    helper = np.array([1.0, 0, 0]) if abs(up[0]) < 0.9 else np.array([0, 1.0, 0])
    a = np.cross(up, helper) / np.linalg.norm(np.cross(up, helper))
    b = np.cross(up, a)
    east, north = math.cos(turn) * a + math.sin(turn) * b, -math.sin(turn) * a + math.cos(turn) * b
    level = np.stack([east, north, up], axis=1)
    envmap = np.eye(4)
    envmap[:3, :3] = np.stack([east, up, -north], axis=1)  # Mitsuba's surround has +y up
    # The renderer wants the last column to repeat the first.
    picture = np.concatenate([light.surround, light.surround[:, :1]], axis=1)
    lights: dict[str, Any] = {
        "surround": {
            "type": "envmap",
            "bitmap": _mitsuba().Bitmap(np.ascontiguousarray(picture, np.float32)),
            "to_world": _mitsuba().ScalarTransform4f(envmap),
        }
    }
    for i, lamp in enumerate(light.lamps):
        lights[f"lamp{i}"] = _glowing(level @ lamp.position_mm, lamp.radius_mm, lamp.radiance)
    if light.flash:
        pose, radius = stage.camera.pose, 4.0
        where = pose.position_mm + 18 * pose.rotation[0] - 6 * pose.rotation[2]
        mean = float(light.surround.mean()) * light.flash
        lights["flash"] = _glowing(where, radius, np.full(3, mean * stage.distance_mm**2 / radius**2 * 3))
    return lights


def _glowing(centre_mm: Any, radius_mm: float, radiance: Any) -> dict[str, Any]:
    return {
        "type": "sphere",
        "center": [float(v) for v in centre_mm],
        "radius": float(radius_mm),
        "emitter": {"type": "area", "radiance": {"type": "rgb", "value": [float(v) for v in radiance]}},
    }


def _texture(values: FloatImage, filter_type: str = "bilinear") -> dict[str, Any]:
    data = values if values.ndim == 3 else values[..., None]
    tensor = _mitsuba().TensorXf(np.ascontiguousarray(data, np.float32))
    return {"type": "bitmap", "raw": True, "filter_type": filter_type, "data": tensor}


def _material(piece: Piece) -> Any:
    surface = piece.surface
    base: dict[str, Any] = {
        "type": "principled",
        "base_color": _texture(surface.colour, "nearest" if surface.crisp else "bilinear"),
        "roughness": _texture(surface.roughness),
        "metallic": _texture(surface.metallic),
        "anisotropic": float(surface.anisotropic),
        "specular": 0.5,
        "clearcoat": float(surface.clearcoat),
        "clearcoat_gloss": 0.8,
    }
    if surface.bump_mm is not None:
        base = {"type": "bumpmap", "height": _texture(surface.bump_mm), "scale": 1.0, "nested": base}
    return _mitsuba().load_dict({"type": "twosided", "nested": base})


def _mesh(piece: Piece, material: Any, name: str) -> Any:
    properties = _mitsuba().Properties()
    properties["bsdf"] = material
    mesh = _mitsuba().Mesh(
        name,
        len(piece.corners_mm),
        len(piece.faces),
        has_vertex_normals=True,
        has_vertex_texcoords=True,
        props=properties,
    )
    fields = _mitsuba().traverse(mesh)
    fields["vertex_positions"] = np.ascontiguousarray(piece.corners_mm, np.float32).ravel()
    fields["vertex_normals"] = np.ascontiguousarray(piece.normals, np.float32).ravel()
    fields["vertex_texcoords"] = np.ascontiguousarray(piece.uv, np.float32).ravel()
    fields["faces"] = np.ascontiguousarray(piece.faces, np.uint32).ravel()
    fields.update()
    return mesh
