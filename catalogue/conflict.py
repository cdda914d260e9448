"""Where evidence contradicts evidence: stop and say both."""

from collections.abc import Sequence
from dataclasses import dataclass

from catalogue.explain import Reason

AGAINST_BITS = -4.0
"""Evidence that speaks so much against the likeliest candidate contradicts what speaks for it."""

FOR_BITS = 0.5

LIKELY = 0.3
"""Below this probability there is no candidate that the evidence agrees on in the first place."""


@dataclass(frozen=True, slots=True)
class Conflict:
    """Two pieces of evidence that cannot both be right, or part and records that differ."""

    between: tuple[str, str]
    text: str

    @property
    def with_records(self) -> bool:
        """Whether the records say another thing than the part."""
        return "option_codes" in self.between


def conflicts_of(reasons: Sequence[Reason], probability: float) -> tuple[Conflict, ...]:
    """Find what contradicts what about the likeliest candidate.

    Parameters
    ----------
    reasons : sequence of Reason
        Of that candidate.
    probability : float
        Its probability.
    """
    backing = max(reasons, key=lambda reason: reason.bits, default=None)
    if backing is None or backing.bits < FOR_BITS or probability < LIKELY:
        return ()
    return tuple(_conflict(reason, backing) for reason in reasons if reason.bits <= AGAINST_BITS)


def _conflict(against: Reason, backing: Reason) -> Conflict:
    between = tuple(sorted((against.evidence, backing.evidence), key=lambda name: name != "option_codes"))
    if against.evidence == "option_codes":
        text = (
            f"{_named(backing)} ({backing.text}), but {against.text}. The records say what was built, the part in "
            "hand what is fitted: find out which before anything is ordered."
        )
    elif backing.evidence == "option_codes":
        text = (
            f"{backing.text}, but {_named(against)} does not fit it ({against.text}). The records say what was built, "
            "the part in hand what is fitted: find out which before anything is ordered."
        )
    else:
        text = f"{_named(backing)} says one thing ({backing.text}), {_named(against)} another ({against.text})."
    return Conflict((between[0], between[1]), text)


def plain_name(evidence: str) -> str:
    """Return a key of the evidence in words: ``centre bore``."""
    if evidence == "measurements":
        return "photo"
    return evidence.removesuffix("_mm").removesuffix("_kg").removesuffix("_in").replace("_", " ")


def _named(reason: Reason) -> str:
    name = plain_name(reason.evidence)
    return f"the {name}" if reason.axle in ("both", "unknown") else f"the {reason.axle} {name}"
