"""What a photo yields: lengths with their covariance, likelihoods of what was seen, and the reasons where it fails."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from typing import Any, Literal

import numpy as np
import numpy.typing as npt
from uncertainties import UFloat, covariance_matrix

from vision.flags import NOTICES, REASONS, Notice, Reason

FloatArray = npt.NDArray[np.float64]
View = Literal["face", "edge"]
Probabilities = Mapping[str, float]

SURFACES = ("plain", "slotted", "drilled", "dimpled", "drilled+slotted", "dimpled+slotted")
NORMAL_95 = 1.959964


@dataclass(frozen=True)
class Measurement:
    """One photo's answer.

    Attributes
    ----------
    photo : str
        The file's name, for the reader only.
    view : {"face", "edge"}
    dimensions : mapping of str to UFloat
        Lengths in mm, keyed with their unit; correlations between them live in the numbers.
    ratios : mapping of str to UFloat
        Lengths over the diameter; they need no scale.
    surface, construction, ventilation : mapping of str to float, optional
        Likelihoods under equal priors, scaled to sum to one.
    bolt_count : (int, float), optional
        The count and its probability.
    thickness_over : {"lip", "unknown"}, optional
        Which surface an edge view's silhouette shows.
    geometry_px : mapping of str to (N, 2) ndarray
        Fitted curves ``(x, y)`` in pixels of the photo as displayed.
    features_px : mapping of str to sequence of (K, 2) ndarray
        Outlines of holes, dimples and bolts, and the lines of slots, in the same pixels.
    details : mapping
        What else was seen (feature counts and the like), JSON-ready.
    reasons, warnings : tuple
        Refusals and notices.
    """

    photo: str
    view: View
    dimensions: Mapping[str, UFloat] = field(default_factory=dict)
    ratios: Mapping[str, UFloat] = field(default_factory=dict)
    surface: Probabilities | None = None
    construction: Probabilities | None = None
    ventilation: Probabilities | None = None
    bolt_count: tuple[int, float] | None = None
    thickness_over: Literal["lip", "unknown"] | None = None
    geometry_px: Mapping[str, FloatArray] = field(default_factory=dict)
    features_px: Mapping[str, Sequence[FloatArray]] = field(default_factory=dict)
    details: Mapping[str, Any] = field(default_factory=dict)
    reasons: tuple[Reason, ...] = ()
    warnings: tuple[Notice, ...] = ()

    @property
    def refused(self) -> bool:
        """Whether the view's main length could not be given."""
        return bool(self.reasons)

    def refuse(self, *codes: str) -> "Measurement":
        """Return this measurement refused for the given codes, without its lengths."""
        return replace(self, reasons=self.reasons + tuple(REASONS[code] for code in codes), dimensions={})

    def warn(self, *codes: str) -> "Measurement":
        """Return this measurement with further notices."""
        return replace(self, warnings=self.warnings + tuple(NOTICES[code] for code in codes))

    def to_json(self) -> dict[str, Any]:
        """Return the wire form: plain numbers, lists and dicts."""
        answer: dict[str, Any] = {
            "photo": self.photo,
            "view": self.view,
            "status": "refused" if self.refused else "measured",
            "reasons": [vars(reason) for reason in self.reasons],
            "dimensions": {key: _interval(length) for key, length in self.dimensions.items()},
            "covariance": _covariance(self.dimensions),
            "ratios": {key: _interval(ratio) for key, ratio in self.ratios.items()},
            "warnings": [vars(notice) for notice in self.warnings],
            "geometry": {key: np.round(curve, 2).tolist() for key, curve in self.geometry_px.items()},
            "features": {
                f"{kind}_px": [np.round(each, 1).tolist() for each in found] for kind, found in self.features_px.items()
            },
            "details": dict(self.details),
        }
        if self.ratios:
            answer["ratios"]["covariance"] = _covariance(self.ratios)
        if self.bolt_count is not None:
            answer["bolt_count"] = {"value": self.bolt_count[0], "probability": round(self.bolt_count[1], 4)}
        for key in ("surface", "construction", "ventilation"):
            said: Probabilities | None = getattr(self, key)
            if said is not None:
                answer[key] = {kind: round(p, 5) for kind, p in said.items()}
        if self.thickness_over is not None:
            answer["thickness_over"] = self.thickness_over
        return answer


def _interval(number: UFloat) -> dict[str, float]:
    value, std = float(number.nominal_value), float(number.std_dev)
    return {"value": value, "std": std, "low": value - NORMAL_95 * std, "high": value + NORMAL_95 * std}


def _covariance(numbers: Mapping[str, UFloat]) -> dict[str, Any]:
    matrix = covariance_matrix(list(numbers.values())) if numbers else []
    return {"keys": list(numbers), "matrix": [list(map(float, row)) for row in matrix]}
