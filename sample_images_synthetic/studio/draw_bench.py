"""Scenes on the bench: a rotor seen from above, a reference on it or beside it."""

import math
from dataclasses import replace

import numpy as np

from sample_images_synthetic.studio.bench import labels, stacked_under, strewn
from sample_images_synthetic.studio.blank import blank
from sample_images_synthetic.studio.camera import Camera
from sample_images_synthetic.studio.pattern import Surface
from sample_images_synthetic.studio.phone import draw_camera, draw_delivery
from sample_images_synthetic.studio.placement import Placed, hidden, on_bench, on_face, on_hat
from sample_images_synthetic.studio.reference import Reference, draw_card, draw_coin, draw_sheet, draw_tag
from sample_images_synthetic.studio.rotor import Rotor, draw_rotor
from sample_images_synthetic.studio.scene import Angles, Scene, framed

COINS = ("eur-2", "eur-1", "usd-0.25", "gbp-2", "eur-0.50")


def bench_scene(rng: np.random.Generator, kind: str, surface: Surface) -> Scene | None:
    """Draw a rotor on the bench, seen from above; ``kind`` is a word and where the reference lies."""
    word, _, lies = kind.partition(" ")
    rotor = draw_rotor(rng, surface=surface)
    hat_up = word == "bolt-circle" or lies == "hat" or bool(rng.random() < 0.72)
    placed = laid(rng, kind, rotor, hat_up=hat_up)
    if placed is None:
        return None
    scene = blank(rng, rotor, hat_up=hat_up)
    lower = stacked_under(rng, rotor) if hat_up and lies != "bench" and rng.random() < 0.12 else None
    scene = replace(scene, base_mm=lower.thickness_mm if lower else 0.0, lower=lower)
    scene = referenced(scene, word, placed, lies)
    scene = replace(scene, camera=_above(rng, scene))
    if obstructed(scene):
        return None
    scene = replace(
        scene,
        told=_told(rng, rotor, lies, hat_up=hat_up),
        props=strewn(rng, scene) + labels(rng, scene),
        delivery=draw_delivery(rng, scene.camera),
    )
    return refused(scene, "no-reference") if word == "none" else scene


def referenced(scene: Scene, word: str, placed: tuple[Placed, ...], lies: str) -> Scene:
    """Put references into a scene, named as the contract names them."""
    detail = " ".join(p.reference.detail for p in placed)
    if word == "bolt-circle" and scene.rotor:
        detail = f"{scene.rotor.bolt_circle_mm:g}"
    lies_at = {"bolt-circle": "hat", "none": None}.get(word, lies)
    return replace(scene, placed=placed, reference_kind=word, reference_detail=detail, lies=lies_at)


def refused(scene: Scene, *codes: str) -> Scene:
    """Mark the scene as one that must be refused."""
    return replace(scene, group="refuse", expect="refused", expect_codes=codes)


def _above(rng: np.random.Generator, scene: Scene) -> Camera:
    """Stand over the bench, tilted by 0 to 45 degrees, rim and reference in the frame."""
    camera, tilt = draw_camera(rng), 45 * float(rng.beta(1.3, 2.2))
    angles = Angles(tilt, float(rng.normal(-90, 40)), float(rng.normal(0, 6)))
    return framed(rng, camera, scene.outline_mm(), angles=angles, fill=float(rng.uniform(0.5, 0.96)))


def laid(rng: np.random.Generator, kind: str, rotor: Rotor, *, hat_up: bool) -> tuple[Placed, ...] | None:
    """Lay the references; None where they do not fit."""
    word, _, lies = kind.partition(" ")
    if word in ("bolt-circle", "none"):
        return ()
    start = float(rng.uniform(0, 2 * math.pi))
    count = int(rng.choice([1, 2, 3], p=[0.5, 0.2, 0.3])) if word == "tag" else 1
    ids = rng.choice(24, count, replace=False)
    placed = []
    for i in range(count):
        angle = start + 2 * math.pi * i / count + float(rng.normal(0, 0.15)) * (i > 0)
        one = lay_one(rng, draw_reference(rng, word, int(ids[i])), rotor, where=(lies, angle, hat_up))
        if one is None:
            return None
        placed.append(one)
    return tuple(placed)


def lay_one(
    rng: np.random.Generator, reference: Reference, rotor: Rotor, *, where: tuple[str, float, bool]
) -> Placed | None:
    """Lay one reference; ``where`` is on what, at which angle (rad), and whether the hat is up."""
    lies, angle, hat_up = where
    if lies == "hat":
        return on_hat(rng, rotor, reference)
    if lies == "bench":
        under = reference.kind in ("a4", "letter") and bool(rng.random() < 0.4)
        return on_bench(rng, rotor, reference, angle, hat_up=hat_up, under=under)
    return on_face(rng, rotor, reference, angle, hat_up=hat_up)


def draw_reference(rng: np.random.Generator, word: str, marker_id: int) -> Reference:
    """Draw a reference of the contract's kind ``word``; tags take the marker."""
    if word == "tag":
        return draw_tag(rng, marker_id)
    if word == "card":
        return draw_card(rng)
    if word == "coin":
        return draw_coin(rng, str(rng.choice(COINS)))
    return draw_sheet(rng, word)


def obstructed(scene: Scene) -> bool:
    """Whether the hat or the ring hides a part of a figure (a sheet under the ring may be hidden)."""
    rotor, eye = scene.rotor, scene.camera.pose.position_mm
    if rotor is None:
        return False
    for one in scene.placed:
        points = one.figure_mm()
        if scene.lies == "face" and scene.hat_up and hidden(points, eye, rotor.hat_mm / 2 + 0.5, (0.1, rotor.hat_z_mm)):
            return True
        if scene.lies == "bench" and one.reference.kind not in ("a4", "letter"):
            foot = -rotor.thickness_mm if scene.hat_up else -rotor.height_mm
            if hidden(points, eye, rotor.diameter_mm / 2 + 1, (foot + 3.0, 0.0)):
                return True
    return False


def _told(rng: np.random.Generator, rotor: Rotor, lies: str, *, hat_up: bool) -> dict[str, float]:
    """Draw what the user measured and tells: the bench's depth, more often than not."""
    if lies != "bench" or rng.random() < 0.35:
        return {}
    if hat_up:
        return {"thickness_mm": round(rotor.thickness_mm + float(rng.normal(0, 0.1)), 1)}
    return {"height_mm": round(rotor.height_mm + float(rng.normal(0, 0.3)), 1)}
