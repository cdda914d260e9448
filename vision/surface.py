"""What is cut into the friction face: six kinds with calibrated probabilities, and the features' counts and sizes."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

import numpy as np

from vision.cuts import find_cuts
from vision.grooves import Grooves, find_grooves
from vision.measurement import SURFACES, FloatArray
from vision.ring import Mask, Ring
from vision.spots import Spots, find_spots
from vision.strokes import Strokes, find_strokes

TABLE = "surface_table.json"
SPOT_KINDS = ("none", "drilled", "dimpled")
FEATURES = (
    "spot_mass",
    "spot_sureness",
    "spot_regularity",
    "spot_regular_count",
    "spot_filled",
    "spot_roundness",
    "spot_spread",
    "hole_share",
    "hole_share_alike",
    "hole_colour",
    "slot_mass",
    "slot_coherence",
    "slot_clearness",
    "slot_sharing",
    "slot_width",
    "stroke_third",
    "stroke_sixth",
    "stroke_lean",
    "stroke_agreement",
    "resolution",
)
# Of spots that repeat in no pattern so many tell what spots there are; the pattern's own tell more from so many on.
HEAVIEST, LEAST_REGULAR = 12, 6
WIDEST_MM = 20.0


@dataclass(frozen=True, eq=False)
class Surface:
    """The friction face's kind and features.

    Attributes
    ----------
    probabilities : mapping of str to float
        Likelihood of each kind under equal priors, scaled to sum to one.
    features : mapping of str to float
        What the probabilities were read from.
    details : mapping
        Counts, diameters, rows and lean of what was found, JSON-ready; empty for a plain face.
    outlines_mm : mapping of str to sequence of (K, 2) ndarray
        Holes, dimples and slots on the face, for drawing.
    """

    probabilities: Mapping[str, float]
    features: Mapping[str, float]
    details: Mapping[str, Any]
    outlines_mm: Mapping[str, Sequence[FloatArray]]


def describe_surface(ring: Ring) -> Surface:
    """Tell a friction face's kind.

    Parameters
    ----------
    ring : Ring
        The friction ring laid flat.

    Returns
    -------
    Surface
    """
    marks = find_marks(ring)
    features = read_features(ring, marks)
    probabilities = kinds(features, shipped_table())
    best = max(probabilities, key=lambda kind: probabilities[kind])
    details, outlines = _found(ring, best, marks)
    return Surface(probabilities, features, details, outlines)


@dataclass(frozen=True, eq=False)
class Marks:
    """What is cut into a ring, or looks like it.

    Attributes
    ----------
    spots : Spots
    grooves : Grooves
    strokes : Strokes
    slot_mass : float
        How many turns round the ring, a cell wide, the cells that lie in slots would fill.
    """

    spots: Spots
    grooves: Grooves
    strokes: Strokes
    slot_mass: float


def find_marks(ring: Ring) -> Marks:
    """Find round marks and lines."""
    cuts = find_cuts(ring)
    mass = float(cuts.slot.sum()) / cuts.slot.shape[1]
    return Marks(find_spots(cuts, ring), find_grooves(cuts.slot, ring), find_strokes(cuts.slot), mass)


def read_features(ring: Ring, marks: Marks) -> dict[str, float]:
    """Sum up the marks in the numbers that the table knows, in the order of ``FEATURES``."""
    spots, grooves, strokes = marks.spots, marks.grooves, marks.strokes
    chosen = _chosen(spots)
    weight, holes = spots.weight[chosen], spots.hole_share[chosen]
    share = float(holes @ weight / weight.sum()) if chosen.any() else 0.5
    values = (
        np.log1p(spots.weight.sum()),
        _median(weight),
        spots.regularity,
        np.log1p(spots.regular.sum()),
        spots.filled,
        _median(spots.roundness[chosen]),
        float(np.log(spots.radius[chosen]).std()) if chosen.any() else 0.0,
        share,
        float(((holes > 0.5) == (share > 0.5)).mean()) if chosen.any() else 0.5,
        _colour_gap(ring, spots, chosen),
        np.log1p(marks.slot_mass),
        np.log1p(max(grooves.coherence, 0.0)),
        grooves.continuity,
        grooves.sharing,
        min(grooves.width_mm, WIDEST_MM),
        *(strokes.nth(3), strokes.nth(6), strokes.lean, strokes.agreement),
        min(ring.px_per_column, 2.0),
    )
    return dict(zip(FEATURES, map(float, values), strict=True))


def _chosen(spots: Spots) -> Mask:
    """Take the spots that repeat, or where too few do the dozen heaviest."""
    if spots.regular.sum() >= LEAST_REGULAR:
        return spots.regular
    heavy = np.zeros(len(spots), bool)
    heavy[np.argsort(-spots.weight)[:HEAVIEST]] = True
    return heavy


def _median(values: FloatArray) -> float:
    return float(np.median(values)) if len(values) else 0.0


def _colour_gap(ring: Ring, spots: Spots, chosen: Mask) -> float:
    """How far the spots' colour, brightness apart, lies from the ring's: through a hole something else is seen."""
    if not chosen.any():
        return 0.0
    column = spots.at[chosen, 0].round().astype(int) % ring.bgr.shape[1]
    row = np.clip(spots.at[chosen, 1].round().astype(int), 0, len(ring.bgr) - 1)
    inside = np.median(_chroma(ring.bgr[row, column]), axis=0)
    ground = np.median(_chroma(ring.bgr[::6, ::12].reshape(-1, 3)), axis=0)
    return float(np.linalg.norm(inside - ground))


def _chroma(bgr: Any) -> FloatArray:
    level = bgr.astype(np.float64) + 12.0
    return np.asarray(np.log(level[:, (0, 2)]) - np.log(level[:, 1:2]), np.float64)


@dataclass(frozen=True, eq=False)
class Table:
    """A generalised additive model: each feature through a broken line, summed, and soft-maxed.

    Attributes
    ----------
    knots : mapping of str to (K,) ndarray
        Where each feature's line breaks; beyond the first and last it is level.
    slot_weights, spot_weights : (1 + F * (K - 1), classes) ndarray
        Of the bias and of each piece.
    sharpness : (float, float)
        Factors on the scores of slots and spots, set on photos kept out of the fit.
    floor : float
        No kind gets less than this.
    """

    knots: Mapping[str, FloatArray]
    slot_weights: FloatArray
    spot_weights: FloatArray
    sharpness: tuple[float, float]
    floor: float

    @classmethod
    def of(cls, plain: Mapping[str, Any]) -> "Table":
        """Build the table from its JSON form."""
        return cls(
            {name: np.array(knots, float) for name, knots in plain["knots"].items()},
            np.array(plain["slot_weights"], float),
            np.array(plain["spot_weights"], float),
            (plain["sharpness"][0], plain["sharpness"][1]),
            plain["floor"],
        )


@cache
def shipped_table() -> Table:
    """Read the table that was fitted on sample photos; its provenance stands in the file."""
    text = resources.files("vision").joinpath(TABLE).read_text(encoding="utf-8")
    return Table.of(json.loads(text))


def pieces(features: Mapping[str, float], knots: Mapping[str, FloatArray]) -> FloatArray:
    """Return 1 and each feature's progress (0 to 1) through each of its intervals."""
    parts = [np.ones(1)]
    for name, at in knots.items():
        parts.append(np.clip((features[name] - at[:-1]) / np.diff(at), 0.0, 1.0))
    return np.concatenate(parts)


def kinds(features: Mapping[str, float], table: Table) -> dict[str, float]:
    """Turn features into the probabilities of the six kinds."""
    basis = pieces(features, table.knots)
    slot = _soft_max(table.sharpness[0] * (basis @ table.slot_weights))
    spot = _soft_max(table.sharpness[1] * (basis @ table.spot_weights))
    joint = {name: slot[i] * spot[j] for i, j, name in _SIX}
    total = sum(joint.values()) + len(joint) * table.floor
    return {kind: float((joint[kind] + table.floor) / total) for kind in SURFACES}


_SIX = (
    (0, 0, "plain"),
    (1, 0, "slotted"),
    (0, 1, "drilled"),
    (0, 2, "dimpled"),
    (1, 1, "drilled+slotted"),
    (1, 2, "dimpled+slotted"),
)


def _soft_max(scores: FloatArray) -> FloatArray:
    power = np.exp(scores - scores.max())
    return np.asarray(power / power.sum(), np.float64)


def _found(ring: Ring, kind: str, marks: Marks) -> tuple[dict[str, Any], dict[str, list[FloatArray]]]:
    """Describe the features of the likeliest kind."""
    details: dict[str, Any] = {}
    outlines: dict[str, list[FloatArray]] = {}
    grooves = marks.grooves
    for word, name in (("drilled", "holes"), ("dimpled", "dimples")):
        if word in kind:
            details[name], outlines[name] = _spot_pattern(ring, marks.spots)
    if "slotted" in kind:
        details["slots"] = {
            "count": round(grooves.folds * grooves.sharing) if grooves.sharing < 0.75 else grooves.folds,
            "width_mm": round(grooves.width_mm, 1),
            "lean_deg": round(grooves.lean_deg),
            "curved": bool(abs(grooves.straightness - 1.0) > 0.4),
        }
        outlines["slots"] = _slot_lines(ring, grooves)
    return details, outlines


def _spot_pattern(ring: Ring, spots: Spots) -> tuple[dict[str, Any], list[FloatArray]]:
    chosen = _chosen(spots)
    radius_mm = ring.outer_mm * np.exp(-ring.step_rad * spots.at[chosen, 1])
    diameter_mm = 2 * spots.cut_radius[chosen] * ring.step_rad * radius_mm
    details = {
        "count": int(chosen.sum()),
        "repeats": int(spots.folds),
        "diameter_mm": round(_median(diameter_mm), 1),
        "rows_mm": [round(row, 1) for row in _clusters(radius_mm, gap_mm=2.5)],
    }
    turn = np.linspace(0, 2 * np.pi, 17)
    circle = np.stack([np.cos(turn), np.sin(turn)], axis=-1)
    outlines = [
        ring.to_face(at + size * circle) for at, size in zip(spots.at[chosen], spots.cut_radius[chosen], strict=True)
    ]
    return details, outlines


def _clusters(values: FloatArray, gap_mm: float) -> list[float]:
    """Means of the runs that a gap parts."""
    ordered = np.sort(values)
    if not len(ordered):
        return []
    return [float(run.mean()) for run in np.split(ordered, np.nonzero(np.diff(ordered) > gap_mm)[0] + 1)]


def _slot_lines(ring: Ring, grooves: Grooves) -> list[FloatArray]:
    radii = ring.radii_mm[:: max(1, len(ring.radii_mm) // 24)]
    angle = grooves.angle_at(radii)
    return [
        np.stack([radii * np.cos(middle + angle), radii * np.sin(middle + angle)], axis=-1)
        for middle in grooves.angles_rad
    ]
