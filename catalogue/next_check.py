"""Which check to make next: what each is expected to tell of the wanted parts, and whether checks can settle them."""

from collections.abc import Collection, Sequence
from dataclasses import dataclass

import numpy as np

from catalogue.assumptions import Assumptions
from catalogue.checks import HOW, PHOTO_OF_SURFACE, Check
from catalogue.field import Field
from catalogue.observation import Evidence
from catalogue.schema import FloatArray, IntArray

LEAST_GAIN_BITS = 0.01
"""Checks that are expected to tell less are not worth naming."""

WHEEL_ON = ("wheel_in",)
"""Checks for which no wheel comes off."""

TINY = 1e-300


@dataclass(frozen=True, slots=True)
class NextCheck:
    """A check worth making.

    Attributes
    ----------
    check : str
        Key of the evidence that it brings.
    axle : str
    gain_bits : float
        Expected information about the wanted parts.
    minutes : float
    how : str
    """

    check: str
    axle: str
    gain_bits: float
    minutes: float
    how: str


def next_checks(
    field: Field, checks: Sequence[Check], observed: Collection[str], assumptions: Assumptions
) -> list[NextCheck]:
    """Return the checks worth making, those that tell most for their time first.

    Parameters
    ----------
    field : Field
    checks : sequence of Check
        Those that can still be made.
    observed : collection of str
        Axles with evidence: where there are some, another one takes another wheel off.
    assumptions : Assumptions
    """
    classes = _classes(list(field.wanted.values()), len(field))
    gains = [(check, gain_bits(field.mass, classes, check)) for check in _without_second_looks(checks)]
    worth = [_named(check, gain, (observed, assumptions)) for check, gain in gains if gain >= LEAST_GAIN_BITS]
    return sorted(worth, key=lambda each: -each.gain_bits / (1 + each.minutes))


def _without_second_looks(checks: Sequence[Check]) -> list[Check]:
    """Leave out the photo of a surface that nobody has looked at yet."""
    looks = {check.axle for check in checks if check.name == "surface"}
    return [check for check in checks if check.name != PHOTO_OF_SURFACE or check.axle not in looks]


def _named(check: Check, gain: float, given: tuple[Collection[str], Assumptions]) -> NextCheck:
    observed, assumptions = given
    evidence = "surface" if check.name == PHOTO_OF_SURFACE else check.name
    minutes = assumptions.check_minutes[evidence]
    if observed and check.axle not in observed and check.name not in WHEEL_ON:
        minutes += assumptions.other_axle_minutes
    return NextCheck(evidence, check.axle, gain, minutes, HOW[check.name])


def marks_first(worth: Sequence[NextCheck], evidence: Evidence, assumptions: Assumptions) -> list[NextCheck]:
    """Put the number on the rotor first: where records and part differ, it alone says what is fitted."""
    gain = {(each.check, each.axle): each.gain_bits for each in worth}
    unread = [axle for axle, observed in evidence.axles.items() if observed.rotor_mark is None]
    name, minutes = "rotor_mark", assumptions.check_minutes["rotor_mark"]
    marks = [NextCheck(name, axle, gain.get((name, axle), 0.0), minutes, HOW[name]) for axle in unread]
    return marks + [each for each in worth if each.check != name or each.axle not in unread]


def gain_bits(mass: FloatArray, classes: IntArray, check: Check) -> float:
    """Return the mutual information of a check's outcome and the class of the truth, bits.

    Parameters
    ----------
    mass : (S,) ndarray
        Probability of each package.
    classes : (S,) ndarray of int
        What is asked for: packages of one class need not be told apart.
    check : Check
    """
    groups, kinds = int(check.group.max()) + 1, int(classes.max()) + 1
    joint = np.zeros((groups, kinds))
    np.add.at(joint, (check.group, classes), mass)
    owner, weight, outcome = check.outcome.nodes()
    log_density = check.outcome.log_density(outcome)
    density = np.exp(log_density - log_density.max(axis=1, keepdims=True))
    after = density @ joint
    after /= np.maximum(after.sum(axis=1, keepdims=True), TINY)
    left = _entropy_bits(after) @ (weight * joint.sum(axis=1)[owner])
    return max(0.0, float(_entropy_bits(joint.sum(axis=0)) - left))


def _entropy_bits(probability: FloatArray) -> FloatArray:
    entropy: FloatArray = -(probability * np.log2(np.maximum(probability, TINY))).sum(axis=-1)
    return entropy


def _classes(numbers: Sequence[IntArray], packages: int) -> IntArray:
    """Return one number for each combination of wanted parts."""
    if not numbers:
        return np.arange(packages)
    _, classes = np.unique(np.column_stack(numbers), axis=0, return_inverse=True)
    return np.asarray(classes.reshape(-1), dtype=np.int64)
