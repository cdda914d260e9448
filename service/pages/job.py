"""A job in progress: what is wanted, for which car, what was answered, which photos were measured."""

from collections.abc import Iterator
from dataclasses import dataclass, field, replace
from typing import Any, Literal

from pydantic import TypeAdapter

from service.pages.lengths import Unit
from service.pages.questions import CAR_QUESTIONS

Wire = dict[str, Any]
Entrance = Literal["car", "phone", "bench"]
AXLES: dict[str, tuple[str, ...]] = {
    "front": ("front",),
    "rear": ("rear",),
    "both": ("front", "rear"),
    "unknown": ("unknown",),
}
PARTS: dict[str, tuple[str, ...]] = {"rotor": ("rotor",), "pads": ("pads",), "both": ("rotor", "pads")}
# Also of an axle that nothing is wanted for: what is fitted there may tell the package.
PLACES = ("front", "rear", "unknown", "car")


@dataclass(frozen=True)
class Answer:
    """What was typed or ticked, word for word, and the unit that was on show then."""

    text: str = ""
    unit: Unit = "mm"
    tool: str = ""


@dataclass(frozen=True)
class Shot:
    """One photo: what was said about it and what was measured in it.

    Attributes
    ----------
    key : str
        Its name within the job and among the working photos.
    name : str
        The file's name.
    axle : {"front", "rear", "unknown"}
    options : dict
        Measure's options as texts.
    measurement : dict
        The measurement's wire form; empty where the file itself was at fault.
    problem : str
        Why the file could not be measured at all; empty where it could.
    """

    key: str
    name: str
    axle: str
    options: dict[str, str] = field(default_factory=dict)
    measurement: Wire = field(default_factory=dict)
    problem: str = ""

    @property
    def view(self) -> str:
        """Which side of the rotor the photo shows."""
        return self.options.get("view", "face")

    @property
    def refused(self) -> bool:
        """Whether the photo gave no length."""
        return bool(self.problem) or self.measurement.get("status") == "refused"


@dataclass(frozen=True)
class Job:
    """One job.

    Attributes
    ----------
    entrance : {"car", "phone", "bench"}
    axle, parts : str
        Keys of ``AXLES`` and ``PARTS``: what is wanted.
    vehicle : dict of str to str
        ``line``, ``model``, ``year`` where known.
    answers : dict of str to Answer
        By ``"axle.key"``, such as ``"front.surface"`` or ``"car.vin"``.
    passed : tuple of str
        Questions that were answered with "don't know".
    shots : tuple of Shot
    rows : tuple of str
        The bench's rotors, a job each.
    bench : str
        The bench this rotor's job belongs to; empty otherwise.
    """

    entrance: Entrance = "car"
    axle: str = "front"
    parts: str = "both"
    vehicle: dict[str, str] = field(default_factory=dict)
    answers: dict[str, Answer] = field(default_factory=dict)
    passed: tuple[str, ...] = ()
    shots: tuple[Shot, ...] = ()
    rows: tuple[str, ...] = ()
    bench: str = ""
    kept_as: str = ""

    @property
    def axles(self) -> tuple[str, ...]:
        """The axles that questions are asked about."""
        return AXLES[self.axle]

    def answer(self, question_id: str, answer: Answer) -> "Job":
        """Return the job with one answer more, changed or, where its text is empty, taken back."""
        answers = {key: given for key, given in self.answers.items() if key != question_id}
        if answer.text.strip():
            answers[question_id] = answer
        return replace(self, answers=answers, passed=tuple(key for key in self.passed if key != question_id))

    def pass_over(self, question_id: str) -> "Job":
        """Return the job with a question answered by "don't know"."""
        job = self.answer(question_id, Answer())
        return replace(job, passed=(*job.passed, question_id))

    def shot(self, key: str) -> Shot | None:
        """Return the photo of that key, or None."""
        return next((shot for shot in self.shots if shot.key == key), None)

    def with_shot(self, shot: Shot) -> "Job":
        """Return the job with a photo added or, where its key is known, replaced."""
        if self.shot(shot.key) is None:
            return replace(self, shots=(*self.shots, shot))
        return replace(self, shots=tuple(shot if old.key == shot.key else old for old in self.shots))

    def without_shot(self, key: str) -> "Job":
        """Return the job without one photo."""
        return replace(self, shots=tuple(shot for shot in self.shots if shot.key != key))

    def axle_words(self, place: str) -> str:
        """Return the axle of an answer's place where it has to be said, else nothing."""
        axle = place.split(".", 1)[0]
        said = axle in ("front", "rear") and (len(self.axles) > 1 or axle not in self.axles)
        return axle if said else ""

    def answers_for(self, axle: str) -> Iterator[tuple[str, Answer]]:
        """Yield the evidence keys and answers of one axle, or of the car itself (``"car"``)."""
        for question_id, answer in self.answers.items():
            place, key = question_id.split(".", 1)
            if place == axle:
                yield key, answer

    def to_wire(self) -> Wire:
        """Return the form that drafts are stored in."""
        wire: Wire = _ADAPTER.dump_python(self, mode="json")
        return wire

    @classmethod
    def from_wire(cls, wire: Wire) -> "Job":
        """Return the job that ``to_wire`` wrote."""
        return _ADAPTER.validate_python(wire)


_ADAPTER = TypeAdapter(Job)


def question_id(axle: str, key: str) -> str:
    """Return where an answer is kept: the car's own questions have no axle."""
    return f"car.{key}" if key in CAR_QUESTIONS or key == "wheel_in" else f"{axle}.{key}"
