"""What each piece of evidence is called in a sentence."""

from collections.abc import Mapping

NAMES: Mapping[str, str] = {
    "measurements": "photo",
    "option_codes": "option code",
    "option_code": "option code",
    "built": "build month",
    "wheel_in": "wheel size",
    "mass_kg": "mass",
    "bolt_count": "number of bolts",
    "pistons": "number of pistons",
    "rotor_mark": "number on the rotor",
    "pad_mark": "number on the pads",
    "pad_shape_number": "shape number on the pads",
    "min_thickness_mark_mm": "stamped minimum",
    "hat_mm": "hat diameter",
    "ring_inner_mm": "ring's inner diameter",
    "bolt_circle_mm": "bolt circle",
    "circumference_mm": "girth",
}
"""Those whose key doesn't say it by itself."""

SHARP_MM = 0.195
"""A reading with a smaller standard deviation is written to a hundredth."""


def plain_name(evidence: str) -> str:
    """Return a key of the evidence in words: ``centre bore`` for ``centre_bore_mm``."""
    return NAMES.get(evidence, evidence.removesuffix("_mm").replace("_", " "))


def give_or_take(value: float, std: float) -> str:
    """Return a reading with its standard deviation: to a tenth, a sharp one to a hundredth.

    >>> give_or_take(330.14, 0.3), give_or_take(66.62, 0.15), give_or_take(120.0, 0.02)
    ('330.1 ± 0.3', '66.62 ± 0.15', '120.00 ± 0.02')
    """
    places = 1 if std >= SHARP_MM else 2
    return f"{value:.{places}f} ± {std:.{places}f}"
