"""An identification, put into the sentences and figures that pages show."""

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from service.pages.frame import show_probability
from service.pages.questions import evidence_words, question_of

Wire = Mapping[str, Any]
TAGS = {
    "ready": "✓ May be ordered",
    "check": "◔ Check first",
    "decode": "≡ Ask the records",
    "no-match": "✕ Fits nothing known",
}
OF_THE_CAR = ("wheel_in",)  # asked once, though the ranking tells apart which axle's brake the wheel must clear
_PLACES = {"front": "Front ", "rear": "Rear ", "unknown": ""}


@dataclass(frozen=True)
class PartVerdict:
    """What may be said about one wanted part."""

    verdict: str
    tag: str
    part: str
    sentence: str
    options: Sequence[Wire]


@dataclass(frozen=True)
class Ranked:
    """The ranking as pages show it: rows, what is left, and none of these."""

    verdict: str
    message: str
    candidates: Sequence[Wire]
    rest: float
    rest_count: int
    none_of_these: float


@dataclass(frozen=True)
class NextCheck:
    """A check still worth making, and where its answer goes."""

    key: str
    axle: str
    label: str
    how: str
    minutes: float
    gain_bits: float


def ranked_of(identification: Wire, shown: int) -> Ranked:
    """Return the ranking with all but the first ``shown`` rows summed up."""
    rows, others = identification["candidates"], identification["others"]
    hidden = rows[shown:]
    return Ranked(
        verdict=identification["verdict"],
        message=identification["message"],
        candidates=rows[:shown],
        rest=others["probability"] + sum(row["probability"] for row in hidden),
        rest_count=others["count"] + len(hidden),
        none_of_these=identification["none_of_these"],
    )


def verdicts_of(identification: Wire) -> list[PartVerdict]:
    """Return one sentence for each wanted part, fronts first."""
    return [
        _verdict(axle, part, said, identification)
        for axle, parts in identification["parts"].items()
        for part, said in parts.items()
    ]


def next_checks_of(identification: Wire) -> list[NextCheck]:
    """Return the checks that are still worth making, the best first; what is read off the car itself, once."""
    best: dict[tuple[str, str], NextCheck] = {}
    for check in map(_next_check, identification["next_checks"]):
        best.setdefault((check.key, check.axle), check)
    return list(best.values())


def _verdict(axle: str, part: str, said: Wire, identification: Wire) -> PartVerdict:
    verdict, options = said["verdict"], said["options"]
    name = _PLACES[axle] + part
    name = name[0].upper() + name[1:]
    return PartVerdict(verdict, TAGS[verdict], name, _sentence(verdict, name, options, identification), options)


def _sentence(verdict: str, name: str, options: Sequence[Wire], identification: Wire) -> str:
    if verdict == "no-match":
        return f"{name}: nothing in this catalogue fits what was found. Order nothing by it."
    best = f"{options[0]['part']} ({show_probability(options[0]['probability'])})" if options else ""
    if verdict == "ready":
        return f"{name}: it is {best}; this part may be ordered."
    likeliest = f" Likeliest so far is {best}." if best else ""
    if verdict == "decode":
        return f"{name}: no measuring will settle it. Ask for the option code from the vehicle's records.{likeliest}"
    checks = next_checks_of(identification)
    by = f" Best next: {in_a_sentence(checks[0])}." if checks else ""
    return f"{name}: don't order yet.{likeliest}{by}"


def in_a_sentence(check: NextCheck) -> str:
    """Return what a check is of, with its axle: what is fitted at the other one may tell more."""
    words = f"{check.label[0].lower()}{check.label[1:]}"
    return f"{words} ({check.axle})" if check.axle in ("front", "rear") else words


def _next_check(check: Wire) -> NextCheck:
    question = question_of(check["check"])
    return NextCheck(
        key=check["check"],
        axle="car" if check["check"] in OF_THE_CAR else check.get("axle") or "car",
        label=evidence_words(check["check"]),
        how=check.get("how") or (question.how if question else ""),
        minutes=check.get("minutes", 0),
        gain_bits=check.get("gain_bits", 0.0),
    )
