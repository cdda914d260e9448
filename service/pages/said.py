"""What was answered, in words, for lists of it."""

from service.pages.job import Answer, Job
from service.pages.lengths import Unit, read_length, show_length
from service.pages.questions import TOOLS, evidence_words, question_of


def place_words(job: Job, place: str) -> str:
    """Return what an answer is about, with its axle where that has to be said."""
    axle = job.axle_words(place)
    return evidence_words(place.split(".", 1)[1]) + (f" ({axle})" if axle else "")


def answer_words(place: str, answer: Answer, unit: Unit) -> str:
    """Return an answer with its lengths in the reader's unit and its tool, or a choice's words."""
    question = question_of(place.split(".", 1)[1])
    if question is None:
        return answer.text
    words = dict(question.options).get(answer.text, answer.text)
    if question.kind == "length":
        words = "; ".join(_length_words(text.strip(), answer.unit, unit) for text in answer.text.split(";"))
    return f"{words}, {TOOLS[answer.tool]}" if answer.tool in TOOLS else words


def _length_words(text: str, typed_in: Unit, unit: Unit) -> str:
    """Return a typed length as it stands where it is in the reader's unit, else turned into that."""
    bare = f"{text} {typed_in}" if text[-1:].isdigit() else text
    try:
        return bare if bare.endswith(unit) else show_length(read_length(text, typed_in), unit)
    except ValueError:
        return text
