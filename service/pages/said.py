"""What was answered, in words, for lists of it."""

from service.pages.answers import evidence_words
from service.pages.job import Answer, Job
from service.pages.questions import TOOLS, question_of


def place_words(job: Job, place: str) -> str:
    """Return what an answer is about, with its axle where that has to be said."""
    axle = job.axle_words(place)
    return evidence_words(place.split(".", 1)[1]) + (f" ({axle})" if axle else "")


def answer_words(place: str, answer: Answer) -> str:
    """Return an answer as typed, with its unit and its tool, or a choice's words."""
    question = question_of(place.split(".", 1)[1])
    if question is None:
        return answer.text
    bare = question.kind == "length" and answer.text[-1:].isdigit()
    words = dict(question.options).get(answer.text, f"{answer.text} {answer.unit}" if bare else answer.text)
    return f"{words}, {TOOLS[answer.tool]}" if answer.tool in TOOLS else words
