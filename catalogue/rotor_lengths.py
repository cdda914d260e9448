"""Gathers what was read of a rotor's lengths, by hand and off photos, and weighs it against every rotor."""

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from math import pi

import numpy as np

from catalogue.assumptions import Assumptions
from catalogue.factor import Factor
from catalogue.joint import Nominals, Readings, log_mixture, log_other_class, patterns, residuals
from catalogue.names import give_or_take, plain_name
from catalogue.observation import LENGTHS, AxleEvidence, Lengths, Measured, Reading
from catalogue.population import Spread
from catalogue.prepare import Prepared, distinct_rotors, rotor_spreads
from catalogue.schema import FloatArray, IntArray

NEVER = 1e-9
"""A photo whose lengths are so surely of another rotor tells nothing of its thickness's error."""

WORTH_COUPLING = 0.05
"""Correlation of a photo's thickness with its other lengths from which on they are weighed together."""


@dataclass(frozen=True, eq=False, slots=True)
class Group:
    """Readings that hang together: of one photo, or of one length."""

    evidence: str
    keys: tuple[str, ...]
    readings: Readings
    said: str
    photos: tuple[tuple[int, tuple[int, ...]], ...]
    """Number of each photo and the places of its readings."""


@dataclass(frozen=True, slots=True)
class HandReading:
    """One length read by hand, as a reading of one of ``LENGTHS``."""

    evidence: str
    key: str
    value: float
    std: float


def std_of(reading: Reading, key: str, assumptions: Assumptions) -> float:
    """Return a reading's standard deviation: the one stated, else the tool's, else a caliper's."""
    if reading.std is not None:
        return reading.std
    table = {**assumptions.reading_std_mm, **assumptions.reading_std_kg}[key]
    return table[reading.tool or "caliper"]


def hand_readings(axle: AxleEvidence, assumptions: Assumptions) -> list[HandReading]:
    """Return the lengths read by hand; a girth becomes a diameter."""
    found = []
    for evidence, reading in axle.lengths.items():
        std = std_of(reading, evidence, assumptions)
        girth = evidence == "circumference_mm"
        key, factor = ("diameter_mm", 1 / pi) if girth else (evidence, 1.0)
        found.append(HandReading(evidence, key, reading.value * factor, std * factor))
    return found


def group_readings(
    hand: Sequence[HandReading], photos: Sequence[Measured], known: Iterable[str], assumptions: Assumptions
) -> list[Group]:
    """Return the readings of ``known`` lengths in groups that are independent of each other."""
    known = set(known)
    of_photo = [_keys_of(photo) & known for photo in photos]
    sets = _merged([*of_photo, *({reading.key} & known for reading in hand)])
    groups = []
    for keys in sets:
        ordered = tuple(key for key in LENGTHS if key in keys)
        numbers = [number for number, of_this in enumerate(of_photo) if of_this & keys]
        read = [reading for reading in hand if reading.key in keys]
        groups.append(_group(ordered, [(number, photos[number]) for number in numbers], read, assumptions))
    return groups


def _keys_of(photo: Measured) -> set[str]:
    return set() if photo.lengths is None else set(photo.lengths.keys) - {"thickness_mm"}


def _merged(sets: Iterable[set[str]]) -> list[set[str]]:
    """Join the sets that share a member."""
    merged: list[set[str]] = []
    for new in sets:
        joined = set(new).union(*(old for old in merged if old & new))
        merged = [old for old in merged if not old & new]
        if joined:
            merged.append(joined)
    return merged


def _group(
    keys: tuple[str, ...],
    photos: Sequence[tuple[int, Measured]],
    hand: Sequence[HandReading],
    assumptions: Assumptions,
) -> Group:
    values: list[float] = []
    columns: list[int] = []
    places: list[tuple[int, tuple[int, ...]]] = []
    for number, photo in photos:
        lengths = _only(photo.lengths, keys)
        places.append((number, tuple(range(len(values), len(values) + len(lengths.keys)))))
        values += lengths.value.tolist()
        columns += [keys.index(key) for key in lengths.keys]
    values += [reading.value for reading in hand]
    columns += [keys.index(reading.key) for reading in hand]
    covariance = np.zeros((len(values), len(values)))
    if photos:
        count = len(values) - len(hand)
        covariance[:count, :count] = photo_covariance([photo for _, photo in photos], keys, assumptions)
    for place, reading in enumerate(hand, start=len(values) - len(hand)):
        covariance[place, place] = reading.std**2
    sources = tuple(of_photo for _, of_photo in places if len(of_photo) > 1)
    readings = Readings(np.array(values), covariance, tuple(columns), sources)
    evidence = "measurements" if photos else hand[0].evidence
    return Group(evidence, keys, readings, _said(readings, keys), tuple(places))


def photo_covariance(photos: Sequence[Measured], keys: tuple[str, ...], assumptions: Assumptions) -> FloatArray:
    """Return the joint covariance of several photos' lengths, mm²: each its own, and a share in common."""
    own = [_only(photo.lengths, keys) for photo in photos]
    roots = []
    for lengths in own:
        into = [keys.index(key) for key in lengths.keys]
        root = np.zeros((len(into), len(keys)))
        root[:, into] = _symmetric_root(lengths.covariance)
        roots.append(root)
    blocks = [
        [
            own[one].covariance
            if one == other
            else _shared(photos[one], photos[other], assumptions) * roots[one] @ roots[other].T
            for other in range(len(own))
        ]
        for one in range(len(own))
    ]
    return np.block(blocks)


def _shared(one: Measured, other: Measured, assumptions: Assumptions) -> float:
    unchecked = one.print_unchecked and other.print_unchecked
    return assumptions.print_shared_variance if unchecked else assumptions.photo_shared_variance


def _symmetric_root(covariance: FloatArray) -> FloatArray:
    values, vectors = np.linalg.eigh(covariance)
    root: FloatArray = (vectors * np.sqrt(np.maximum(values, 0.0))) @ vectors.T
    return root


def _only(lengths: Lengths | None, keys: tuple[str, ...]) -> Lengths:
    """Return the lengths named in ``keys``."""
    if lengths is None:
        return Lengths((), np.zeros(0), np.zeros((0, 0)))
    places = [place for place, key in enumerate(lengths.keys) if key in keys]
    names = tuple(lengths.keys[place] for place in places)
    return Lengths(names, lengths.value[places], lengths.covariance[np.ix_(places, places)])


def _said(readings: Readings, keys: tuple[str, ...]) -> str:
    stds = np.sqrt(np.diag(readings.covariance))
    return ", ".join(
        f"{plain_name(keys[column])} {give_or_take(value, std)}"
        for column, value, std in zip(readings.column, readings.value, stds, strict=True)
    )


@dataclass(frozen=True, eq=False, slots=True)
class Population:
    """The rotors of a catalogue as those of one axle: their lengths, and what a length not known may be."""

    prepared: Prepared
    axle: str
    assumptions: Assumptions

    @property
    def spread(self) -> Mapping[str, Spread]:
        """How each length is spread, of which anything is known."""
        return rotor_spreads(self.prepared, self.axle, self.assumptions)

    def nominals(self, keys: tuple[str, ...]) -> tuple[Nominals, IntArray]:
        """Return the different nominal lengths of ``keys``, and which of them each rotor has, (N + 1,)."""
        distinct = distinct_rotors(self.prepared, keys)
        tolerance = np.array([self.assumptions.tolerance_mm[key] for key in keys])
        return Nominals(distinct.value, tolerance, tuple(self.spread[key] for key in keys)), distinct.place


WeighedGroup = tuple[Group, Factor]
"""Readings that hang together, and what they say."""


def weigh_group(group: Group, population: Population) -> Factor:
    """Weigh one group of readings against every rotor."""
    nominals, place = population.nominals(group.keys)
    log_distinct, log_sound = log_mixture(group.readings, nominals, population.assumptions.gross_error)
    return Factor(
        group.evidence,
        "rotor",
        log_distinct,
        group.said,
        place,
        trait=" ".join(group.keys),
        log_sound=log_sound,
        log_other_class=log_other_class(group.readings, nominals, population.assumptions),
    )


@dataclass(frozen=True, eq=False, slots=True)
class Coupling:
    """What a photo's other lengths tell of the error in its thickness.

    Attributes
    ----------
    shift_mm : (N + 1,) ndarray
        Expected error for each rotor.
    std_mm : float
        What is left of the thickness's standard deviation.
    sound : (N + 1,) ndarray
        Probability that the lengths are no gross error, so that the shift holds.
    """

    shift_mm: FloatArray
    std_mm: float
    sound: FloatArray


def couple_thickness(
    photo: tuple[int, Measured], groups: Sequence[WeighedGroup], population: Population
) -> Coupling | None:
    """Return how a photo's thickness hangs on its other lengths, None where it hardly does.

    Parameters
    ----------
    photo : (int, Measured)
        Its number among the photos.
    groups : sequence of WeighedGroup
        The other lengths.
    population : Population
    """
    number, measured = photo
    found = next((each for each in groups if number in dict(each[0].photos)), None)
    if found is None or measured.lengths is None:
        return None
    group, _ = found
    places = list(dict(group.photos)[number])
    lengths = measured.lengths
    thickness = lengths.keys.index("thickness_mm")
    others = [lengths.keys.index(group.keys[group.readings.column[place]]) for place in places]
    shared = np.zeros(len(group.readings.value))
    shared[places] = lengths.covariance[thickness, others]
    std = float(np.sqrt(lengths.covariance[thickness, thickness]))
    own_stds = np.sqrt(np.diag(lengths.covariance))[others]
    if np.abs(shared[places] / own_stds / std).max() < WORTH_COUPLING:
        return None
    return _coupling(found, shared, std, population)


def _coupling(weighed: WeighedGroup, shared: FloatArray, std_mm: float, population: Population) -> Coupling:
    group, factor = weighed
    assert factor.log_sound is not None
    nominals, place = population.nominals(group.keys)
    sound = np.exp(np.minimum(factor.log_sound - factor.log_distinct, 0.0))
    near = np.flatnonzero(sound > NEVER)
    shift = np.zeros(len(sound))
    of_near = replace(nominals, value=nominals.value[near])
    for lacking, rows in patterns(np.isnan(of_near.value)):
        residual, covariance = residuals(group.readings, of_near, (lacking, rows))
        shift[near[rows]] = residual @ np.linalg.solve(covariance, shared)
    none_of_them, one_row = np.zeros(len(group.keys), dtype=np.bool_), np.zeros(1, dtype=np.int64)
    _, covariance = residuals(group.readings, nominals, (none_of_them, one_row))
    left = std_mm**2 - float(shared @ np.linalg.solve(covariance, shared))
    return Coupling(shift[place], float(np.sqrt(max(left, 1e-12))), sound[place])
