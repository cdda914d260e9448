"""What is cut into the friction face: six kinds with calibrated probabilities, and the features' counts and sizes."""

import json
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cache
from importlib import resources
from typing import Any

import numpy as np
import numpy.typing as npt

from vision.grooves import Grooves, find_grooves, off_lines
from vision.measurement import SURFACES, FloatArray
from vision.ring import Ring
from vision.spots import Spots, find_bowls, find_discs

TABLE = "surface_table.json"
SPOT_KINDS = ("none", "drilled", "dimpled")
BARE_TRUST, FULL_PATTERN = 0.35, 6.0
FEATURES = (
    "disc_regularity",
    "disc_regular_count",
    "disc_regular_share",
    "disc_filled",
    "disc_strength",
    "disc_closure",
    "disc_step",
    "disc_step_spread",
    "disc_darkness",
    "disc_brightness",
    "disc_roughness",
    "disc_lean",
    "disc_agreement",
    "bowl_regularity",
    "bowl_regular_count",
    "bowl_filled",
    "bowl_strength",
    "bowl_lean",
    "bowl_agreement",
    "hole_colour",
    "slot_coherence",
    "slot_mixed_coherence",
    "slot_clearness",
    "slot_width",
    "slot_contrast",
    "slot_sharing",
    "stroke_third",
    "stroke_sixth",
    "stroke_agreement",
    "resolution",
)


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
    discs, bowls, grooves = find_marks(ring)
    features = read_features(ring, discs, bowls, grooves)
    probabilities = kinds(features, shipped_table())
    best = max(probabilities, key=lambda kind: probabilities[kind])
    details, outlines = _found(ring, best, discs if "drilled" in best else _clearer(discs, bowls), grooves)
    return Surface(probabilities, features, details, outlines)


def find_marks(ring: Ring) -> tuple[Spots, Spots, Grooves]:
    """Find discs, bowls and grooves; what lies on a groove is no disc."""
    discs, bowls = find_discs(ring), find_bowls(ring)
    grooves = find_grooves(ring, discs)
    return off_lines(discs, ring, grooves), off_lines(bowls, ring, grooves), grooves


def read_features(ring: Ring, discs: Spots, bowls: Spots, grooves: Grooves) -> dict[str, float]:
    """Sum up the candidates in the numbers that the table knows, in the order of ``FEATURES``.

    What a dozen scattered spots look like says little about dimples or holes: the fewer belong to a pattern, the
    nearer their looks are moved to none.
    """
    dark, usual = np.quantile(ring.level[ring.seen][::17], (0.1, 0.5)) if ring.seen.any() else (0.0, 0.0)
    disc, bowl = _chosen(discs), _chosen(bowls)
    trust = min(1.0, BARE_TRUST + float(discs.regular.sum()) / FULL_PATTERN)
    bowl_trust = min(1.0, float(bowls.regular.sum()) / FULL_PATTERN)
    level, step = discs.level[disc], discs.step[disc]
    looks = (
        _median(discs.strength[disc]),
        _median(discs.closure[disc]),
        _median(step),
        float(step.std()) if disc.any() else 0.0,
        _median(level) - dark if disc.any() else 0.0,
        float(np.quantile(level, 0.85)) - usual if disc.any() else 0.0,
        _median(discs.roughness[disc]),
        _median(np.abs(discs.lean[disc])),
        _agreement(discs.lean[disc]),
    )
    share = float(discs.weight[discs.regular].sum() / max(float(discs.weight.sum()), 1.0))
    values = (
        *(discs.regularity, np.log1p(discs.regular.sum()), share, discs.filled),
        *(trust * look for look in looks),
        *(bowls.regularity, np.log1p(bowls.regular.sum()), bowls.filled),
        bowl_trust * _median(bowls.strength[bowl]),
        bowl_trust * _median(np.abs(bowls.lean[bowl])),
        bowl_trust * _agreement(bowls.lean[bowl]),
        trust * _colour_gap(ring, discs, disc),
        np.log1p(max(grooves.coherence, 0.0)),
        np.log1p(max(grooves.mixed_coherence, 0.0)),
        *(grooves.clearness, min(grooves.width_mm, 20.0), grooves.contrast, grooves.sharing),
        *(grooves.strokes.nth(3), grooves.strokes.nth(6), grooves.strokes.agreement),
        min(ring.px_per_column, 2.0),
    )
    return dict(zip(FEATURES, map(float, values), strict=True))


def _agreement(lean: npt.NDArray[np.complex128]) -> float:
    """1 where all lean one way, 0 where they lean anyhow."""
    return float(np.abs(lean.mean()) / max(float(np.abs(lean).mean()), 1e-6)) if len(lean) else 0.0


def _chosen(spots: Spots) -> FloatArray:
    """Take the candidates that repeat, or where too few do the dozen heaviest."""
    if spots.regular.sum() >= 6:
        return np.asarray(spots.regular)
    heavy = np.zeros(len(spots), bool)
    heavy[np.argsort(-spots.weight)[:12]] = True
    return np.asarray(heavy & (spots.weight > 0.15))


def _median(values: FloatArray) -> float:
    return float(np.median(values)) if len(values) else 0.0


def _colour_gap(ring: Ring, discs: Spots, chosen: FloatArray) -> float:
    """How far the discs' colour, brightness apart, lies from the ring's: through a hole something else is seen."""
    if not chosen.any():
        return 0.0
    column = discs.at[chosen, 0].round().astype(int) % ring.bgr.shape[1]
    row = np.clip(discs.at[chosen, 1].round().astype(int), 0, len(ring.bgr) - 1)
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


def _clearer(discs: Spots, bowls: Spots) -> Spots:
    return bowls if bowls.regularity > discs.regularity else discs


def _found(ring: Ring, kind: str, spots: Spots, grooves: Grooves) -> tuple[dict[str, Any], dict[str, list[FloatArray]]]:
    """Describe the features of the likeliest kind."""
    details: dict[str, Any] = {}
    outlines: dict[str, list[FloatArray]] = {}
    for word, name in (("drilled", "holes"), ("dimpled", "dimples")):
        if word in kind:
            details[name], outlines[name] = _spot_pattern(ring, spots)
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
    diameter_mm = 2 * spots.radius[chosen] * ring.step_rad * radius_mm
    details = {
        "count": int(chosen.sum()),
        "repeats": int(spots.folds),
        "diameter_mm": round(_median(diameter_mm), 1),
        "rows_mm": [round(row, 1) for row in _clusters(radius_mm, gap_mm=2.5)],
    }
    turn = np.linspace(0, 2 * np.pi, 17)
    circle = np.stack([np.cos(turn), np.sin(turn)], axis=-1)
    outlines = [
        ring.to_face(at + size * circle) for at, size in zip(spots.at[chosen], spots.radius[chosen], strict=True)
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
