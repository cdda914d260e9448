"""Surface features of the rendered sample photos: in scenes as their truth has them, and as the program fits them."""

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any
from unittest.mock import patch

import numpy as np

from tests.benchmarks.measuring import kind_of
from tests.fitting.tones import developed
from tests.vision.posed import PosedFace, face_of_truth
from vision import measure_face, read_photo
from vision.circle_pose import circle
from vision.measurement import FloatArray
from vision.photo import Photo
from vision.request import Request
from vision.ring import Ring, lay_flat
from vision.surface import Surface, describe_surface, find_marks, read_features

CORNERS = 4


def wanted(folder: Path) -> list[dict[str, Any]]:
    """Return the rows of a set's face photos that ought to tell their surface."""
    rows = json.loads((folder / "truth.json").read_text(encoding="utf-8"))
    return [row for row in rows if row["rotor"] and row["group"] != "edge" and _tells(row)]


def _tells(row: Mapping[str, Any]) -> bool:
    """Whether a photo is to be measured, or lacks nothing but a scale."""
    return row["expect"] == "measured" or "no-reference" in (row["expect_codes"] or [])


def hidden_by(row: Mapping[str, Any], face: PosedFace) -> list[FloatArray]:
    """Outlines on the face of what lies on it or stands before it."""
    return [*references_of(row, face), *_hat(row, face)]


def _hat(row: Mapping[str, Any], face: PosedFace) -> list[FloatArray]:
    """Outline of what a hat that stands up hides of the face."""
    rotor = row["rotor"]
    top_mm = rotor["height_mm"] - rotor["thickness_mm"]
    if row["hat"] != "up":
        return []
    return [face.to_plane(face.to_pixels(circle(1.005 * rotor["hat_mm"] / 2, 90, top_mm - 2.0)))]


def references_of(row: Mapping[str, Any], face: PosedFace) -> list[FloatArray]:
    """Outlines on the face of the references that lie on it."""
    return [face.to_plane(part) for part in references_px(row)] if row["reference"]["lies"] == "face" else []


def references_px(row: Mapping[str, Any]) -> list[FloatArray]:
    """Outlines in the photo, with a little room, of the references that lie on face or hat."""
    points = np.array(row["reference_px"] or [], float).reshape(-1, 2)
    kind, lies = row["reference"]["kind"], row["reference"]["lies"]
    if lies not in ("face", "hat") or kind == "bolt-circle" or not len(points):
        return []
    parts = [points] if kind == "coin" else np.split(points, len(points) // CORNERS)
    return [part.mean(axis=0) + (1.3 if kind == "tag" else 1.03) * (part - part.mean(axis=0)) for part in parts]


def photo_of(row: Mapping[str, Any], folder: Path, seed: int | None = None) -> Photo:
    """Read one photo; with a seed, as another phone might have developed it."""
    photo = read_photo(folder / row["file"])
    return photo if seed is None else developed(np.random.default_rng([0xF1, seed]), photo)


def ring_of(row: Mapping[str, Any], photo: Photo) -> Ring:
    """Lay a rendered rotor's ring flat, as its truth has it."""
    face, rotor = face_of_truth(row), row["rotor"]
    span_mm = (1.03 * rotor["ring_inner_mm"] / 2, 0.98 * rotor["diameter_mm"] / 2)
    return lay_flat(photo.bgr, face, span_mm, hidden_by(row, face))


def rendered_example(row: Mapping[str, Any], photo: Photo) -> tuple[str, dict[str, float]]:
    """Read one photo's features in a scene as its truth has it."""
    ring = ring_of(row, photo)
    return row["rotor"]["surface"], read_features(ring, find_marks(ring))


def measured_example(row: Mapping[str, Any], photo: Photo) -> tuple[str, dict[str, float]] | None:
    """Read one photo's features as it is measured, wrong rims and all; None where it is refused before the face."""
    read: list[Surface] = []

    def kept(ring: Ring) -> Surface:
        read.append(describe_surface(ring))
        return read[-1]

    with patch("vision.describe.describe_surface", kept):
        measure_face(photo, request_of(row))
    return (row["rotor"]["surface"], dict(read[-1].features)) if read else None


def request_of(row: Mapping[str, Any]) -> Request:
    """Ask about a sample photo what a person would who knows what its truth says was told."""
    reference, told = row["reference"], row["told"] or {}
    lies = None if reference["kind"] in ("none", "bolt-circle") else reference["lies"]
    return Request(kind_of(row), lies, **told)
