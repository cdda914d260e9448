"""Where evidence contradicts evidence: stop and say both."""

from collections.abc import Sequence
from dataclasses import dataclass

from catalogue.checks import NUMBERS
from catalogue.explain import Reason
from catalogue.names import plain_name

AGAINST_BITS = -4.0
"""Evidence that speaks so much against the likeliest candidate contradicts what speaks for it."""

FOR_BITS = 0.5

LIKELY = 0.3
"""Below this probability there is no candidate that the evidence agrees on in the first place."""

WHICH = "The records say what was built, the part in hand what is fitted: find out which before anything is ordered."


@dataclass(frozen=True, slots=True)
class Conflict:
    """Two pieces of evidence that cannot both be right, or part and records that differ.

    Attributes
    ----------
    between : (str, str)
    text : str
    stops : bool
        Whether nothing may be ordered before it is cleared up: the records, or the number on the part in hand, say
        another thing than the rest. A number that speaks for the likeliest candidate beats a measurement.
    """

    between: tuple[str, str]
    text: str
    stops: bool


def conflicts_of(reasons: Sequence[Reason], package: str, probability: float) -> tuple[Conflict, ...]:
    """Find what contradicts what about the likeliest candidate.

    Parameters
    ----------
    reasons : sequence of Reason
        Of that candidate.
    package : str
        Its package.
    probability : float
        Of that package.
    """
    backing = max(reasons, key=lambda reason: reason.bits, default=None)
    if backing is None or backing.bits < FOR_BITS or probability < LIKELY:
        return ()
    return tuple(_conflict(reason, backing, package) for reason in reasons if reason.bits <= AGAINST_BITS)


def _conflict(against: Reason, backing: Reason, package: str) -> Conflict:
    between = tuple(sorted((against.evidence, backing.evidence), key=lambda name: name != "option_codes"))
    if against.evidence == "option_codes":
        text = f"{_named(backing)} speaks for {package} ({backing.text}), but {against.text}. {WHICH}"
    elif backing.evidence == "option_codes":
        text = f"the records speak for {package} ({backing.text}), but not {_named(against)} ({against.text}). {WHICH}"
    else:
        text = (
            f"{_named(backing)} speaks for {package} ({backing.text}), {_named(against)} against it ({against.text})."
        )
    stops = "option_codes" in between or against.evidence in NUMBERS
    return Conflict((between[0], between[1]), text[0].upper() + text[1:], stops)


def _named(reason: Reason) -> str:
    name = plain_name(reason.evidence)
    return f"the {name}" if reason.axle in ("both", "unknown") else f"the {reason.axle} {name}"
