"""The truth of a scene as ``truth.json`` states it: the contract's row, and how it was made."""

from importlib.metadata import version
from typing import Any

import numpy as np

from sample_images_synthetic.studio.scene import Scene

STUDIO_VERSION = 1
PACKAGES = ("mitsuba", "drjit", "manifold3d", "trimesh", "numpy", "pillow")


def versions() -> dict[str, Any]:
    """Versions of the studio and of what it stands on."""
    return {"studio": STUDIO_VERSION} | {name: version(name) for name in PACKAGES}


def truth_row(scene: Scene, file: str) -> dict[str, Any]:
    """One row of ``truth.json``; pixel points are those of the file as displayed.

    Beside the contract's keys: ``made`` (seed, light, ground, finish, lens, file) and in ``camera``
    the exact ``focal_px`` and ``principal_px`` of the displayed picture (a crop moves them).
    """
    camera, delivery = scene.camera, scene.delivery
    width, height = delivery.size(camera.width, camera.height)
    scale, _ = delivery.mapping(camera.width, camera.height)
    return {
        "id": scene.id,
        "file": file,
        "group": scene.group,
        "rotor": scene.rotor.truth() if scene.rotor else None,
        "reference": {"kind": scene.reference_kind, "detail": scene.reference_detail, "lies": scene.lies},
        "told": scene.told,
        "hat": "up" if scene.hat_up else "down",
        "camera": {
            "f35": round(camera.f35_mm, 3),
            "exif_f35": delivery.exif_f35 if delivery.exif else None,
            "tilt_deg": round(camera.pose.tilt_deg, 3),
            "distance_mm": round(float(np.linalg.norm(camera.pose.position_mm)), 2),
            "k1": round(camera.k1, 5),
            "width": width,
            "height": height,
            "focal_px": round(camera.focal_px * float(scale.mean()), 3),
            "principal_px": _rounded(delivery.moved([camera.centre_px], camera.width, camera.height))[0],
        },
        "expect": scene.expect,
        "expect_codes": list(scene.expect_codes),
        "rim_px": _points(scene, scene.rim_mm()),
        "reference_px": _points(scene, scene.figure_mm()),
        "made": made(scene),
    }


def made(scene: Scene) -> dict[str, Any]:
    """How the photo was made: for distributions and for telling which part of a set is hard."""
    delivery = scene.delivery
    return {
        "set": scene.set_name,
        "seed": scene.seed,
        "ground": scene.ground,
        "light": scene.light,
        "props": [prop.name for prop in scene.props],
        "finish": _rounded_fields(vars(scene.finish)),
        "development": _rounded_fields(vars(scene.development)),
        "copy": not delivery.exif,
        "orientation": delivery.orientation,
        "quality": delivery.quality,
        "crop": delivery.crop,
        "border_px": delivery.border_px,
    }


def _points(scene: Scene, points_mm: Any) -> list[list[float]]:
    if not len(points_mm):
        return []
    camera = scene.camera
    return _rounded(scene.delivery.moved(camera.project(points_mm), camera.width, camera.height))


def _rounded(points_px: Any) -> list[list[float]]:
    return [[round(float(x), 3), round(float(y), 3)] for x, y in points_px]


def _rounded_fields(fields: dict[str, Any]) -> dict[str, Any]:
    return {k: round(v, 4) if isinstance(v, float) else v for k, v in fields.items()}
