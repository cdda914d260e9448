"""What was observed, ready to be weighed: frozen records without wire forms."""

from collections.abc import Mapping
from dataclasses import dataclass, field
from typing import Literal

from catalogue.schema import FloatArray

EvidenceAxle = Literal["front", "rear", "unknown"]
Part = Literal["rotor", "pads"]
PARTS: tuple[Part, ...] = ("rotor", "pads")
Probabilities = Mapping[str, float]

LENGTHS = ("diameter_mm", "height_mm", "centre_bore_mm", "bolt_circle_mm", "ring_inner_mm", "hat_mm")
"""A rotor's lengths that don't wear."""

PAD_LENGTHS = ("pad_height_mm", "pad_length_mm")
TOOLS = ("caliper", "micrometer", "tape", "rule", "photo", "told")


@dataclass(frozen=True, slots=True)
class Reading:
    """One number that somebody read.

    Attributes
    ----------
    value : float
        In mm, kg or inches, as the key says.
    std : float or None
        Its standard deviation, where it was stated.
    tool : str or None
        One of ``TOOLS``, where it was named.
    """

    value: float
    std: float | None = None
    tool: str | None = None


@dataclass(frozen=True, eq=False)
class Lengths:
    """Several lengths with their joint covariance.

    Attributes
    ----------
    keys : tuple of str, N
        Names, ``LENGTHS`` and ``thickness_mm`` among them; of ratios the length over the diameter.
    value : (N,) ndarray
    covariance : (N, N) ndarray
        Symmetric and positive definite.
    """

    keys: tuple[str, ...]
    value: FloatArray
    covariance: FloatArray


@dataclass(frozen=True, eq=False)
class Measured:
    """What a measurement of the rotor from one photo says.

    Attributes
    ----------
    lengths : Lengths or None
        In mm.
    ratios : Lengths or None
        Over the diameter; only where the photo had no scale.
    bolt_count : (int, float) or None
        The count and its probability.
    surface, construction, ventilation : mapping or None
        Likelihoods under equal priors.
    thickness_over : str or None
        lip or unknown.
    print_unchecked : bool
        Whether the scale stands on a print that nobody measured: such photos share their error.
    """

    lengths: Lengths | None = None
    ratios: Lengths | None = None
    bolt_count: tuple[int, float] | None = None
    surface: Probabilities | None = None
    construction: Probabilities | None = None
    ventilation: Probabilities | None = None
    thickness_over: str | None = None
    print_unchecked: bool = False


@dataclass(frozen=True, slots=True)
class AxleEvidence:
    """What was observed of one axle; empty and None mean not observed.

    Attributes
    ----------
    lengths : mapping of str to Reading
        Of the rotor, mm: ``LENGTHS``, ``circumference_mm``.
    pad_lengths : mapping of str to Reading
        ``PAD_LENGTHS``, mm.
    thickness_mm : tuple of Reading
        Round the ring: they share one wear.
    thickness_over : {"swept", "lip", "unknown"}
    condition : {"new", "used", "unknown"}
    min_mark_mm : float or None
        The stamped minimum.
    mark_kind : {"discard", "machine-to", "unknown"}
    mass_kg : Reading or None
    rotor_mark, pad_mark, pad_shape_number : str or None
    wheel_in, bolt_count, pistons
        Numbers.
    words : mapping of str to str
        surface, construction, ventilation, caliper_mount, parking_brake, as told.
    seen : mapping of str to mapping
        surface, construction, ventilation as probabilities.
    caliper_colour : str or None
        Never weighed.
    measurements : tuple of Measured
    """

    lengths: Mapping[str, Reading] = field(default_factory=dict)
    pad_lengths: Mapping[str, Reading] = field(default_factory=dict)
    thickness_mm: tuple[Reading, ...] = ()
    thickness_over: str = "unknown"
    condition: str = "unknown"
    min_mark_mm: float | None = None
    mark_kind: str = "unknown"
    mass_kg: Reading | None = None
    rotor_mark: str | None = None
    pad_mark: str | None = None
    pad_shape_number: str | None = None
    wheel_in: float | None = None
    bolt_count: int | None = None
    pistons: int | None = None
    words: Mapping[str, str] = field(default_factory=dict)
    seen: Mapping[str, Probabilities] = field(default_factory=dict)
    caliper_colour: str | None = None
    measurements: tuple[Measured, ...] = ()


@dataclass(frozen=True, slots=True)
class Vehicle:
    """What is known of the car; None is not known. ``built`` is a month number."""

    line: str | None = None
    model: str | None = None
    year: int | None = None
    built: int | None = None


@dataclass(frozen=True, slots=True)
class Evidence:
    """All that was observed of one car or one part.

    Attributes
    ----------
    vehicle : Vehicle
    option_codes : tuple of str
        Read off the records.
    vin : str or None
    axles : mapping of EvidenceAxle to AxleEvidence
        Only axles with evidence.
    wanted : tuple of (EvidenceAxle, Part)
        What the person wants to order; where nothing was said or observed none, which means all that there is.
    """

    vehicle: Vehicle = Vehicle()
    option_codes: tuple[str, ...] = ()
    vin: str | None = None
    axles: Mapping[EvidenceAxle, AxleEvidence] = field(default_factory=dict)
    wanted: tuple[tuple[EvidenceAxle, Part], ...] = ()
