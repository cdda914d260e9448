"""The guide to the photo and its reference: the same words for the page and for the printed sheet."""

import io
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from typing import Literal

from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.platypus import Flowable, Paragraph, SimpleDocTemplate, Spacer, Table, TableStyle

Paper = Literal["a4", "letter"]
PAPERS = {"a4": A4, "letter": LETTER}
TITLE = "How to photograph a rotor so that it can be measured"


@dataclass(frozen=True)
class Reference:
    """One thing of known size.

    Attributes
    ----------
    name : str
    size : str
        As published.
    lies : str
        Where it belongs.
    grade : str
        How well it serves, in a word.
    why : str
        What is good or bad about it.
    """

    name: str
    size: str
    lies: str
    grade: str
    why: str


@dataclass(frozen=True)
class Chapter:
    """A heading and its points."""

    title: str
    points: Sequence[str]


# Sizes: ISO/IEC 7810 (card), Regulation (EU) 729/2014 (euro), US Mint (quarter), ISO 216 and ANSI/ASME Y14.1 (paper).
REFERENCES = (
    Reference(
        "Printed face tags",
        "40.0 mm black, 50 mm white",
        "on the ring",
        "best",
        "Many edges inside; measures the photo's own blur. Two or three are better than one. Measure the check bar.",
    ),
    Reference(
        "Bank card or licence, ID-1",
        "85.60 x 53.98 mm",
        "on the ring",
        "good",
        "Always at hand. Needs a ring of 54 mm or more; on a narrower one it may hang over the inner edge.",
    ),
    Reference(
        "Coin",
        "2 euro 25.75 mm, US quarter 24.26 mm",
        "on the ring",
        "fair",
        "Fits every ring, but small and thick: say which coin it is.",
    ),
    Reference(
        "Sheet of paper, A4 or Letter",
        "297 x 210 mm or 279.4 x 215.9 mm",
        "on the bench",
        "fair",
        "Lies lower than the face: measure the rotor's thickness too, and tilt the phone about 25 degrees.",
    ),
    Reference(
        "The rotor's own bolt circle",
        "from the vehicle's data, such as 5 x 112",
        "on the hat",
        "fair",
        "Nothing to lay down. Serves best with a little tilt.",
    ),
)
CHAPTERS = (
    Chapter(
        "Before the photo",
        (
            "Wipe the rim and the ring. Rust on the edge and a brown outer band hide where the rotor ends.",
            "Lay the rotor hat up on a ground of another brightness: cardboard under a dark rotor, "
            "a dark cloth under a bright one.",
            "Keep lids, tyres and other round things out of the picture.",
        ),
    ),
    Chapter(
        "The thing of known size",
        (
            "Lay it flat on the friction face itself. On the bench it is farther from the phone than the face, "
            "and the reading comes out too large: up to 4 %, more than the step to the next size.",
            "On an upright rotor hold it with tape over its edge or a flat magnet behind it, and say how thick "
            "that is.",
            "Print tags at 100 %, then lay a rule on the check bar. If it isn't 100 mm, measure the black square "
            "and say so.",
        ),
    ),
    Chapter(
        "The photo of the face",
        (
            "The whole rim in the picture, from 60 to 90 cm, with the phone's normal lens, not its wide one.",
            "Tilt the phone 10 to 25 degrees off square. Straight above hides the height, more than 35 squeezes "
            "the rim.",
            "Tap on the rotor to focus, use daylight, no flash. Send the original, not a copy out of a messenger.",
        ),
    ),
    Chapter(
        "The photo of the edge",
        (
            "Phone level with the ring, the ring like a bar across the picture.",
            "Hold the card upright against the nearest edge, or say the rotor's diameter instead.",
            "The outer lip is unworn and shows the new thickness. Brush the rust off it first.",
            "Keep the hat in the picture, and the card beside it: then the height over all is read as well.",
        ),
    ),
    Chapter(
        "What a photo can't do",
        (
            "It can't tell packages apart that differ in nothing that can be seen: then the number on the part or the "
            "vehicle's records decide.",
            "It doesn't judge cracks, heat marks, pitting or run-out. That is for a person to look at.",
            "It is an aid: the maker's data and the marking on the part prevail, local rules apply, and work on brakes "
            "is for qualified people.",
        ),
    ),
)
_BODY = ParagraphStyle("body", fontName="Helvetica", fontSize=10, leading=13.5)
_POINT = ParagraphStyle("point", parent=_BODY, leftIndent=11, bulletIndent=1, spaceAfter=2)
_HEAD = ParagraphStyle(
    "head", parent=_BODY, fontName="Helvetica-Bold", fontSize=12, leading=15, spaceBefore=9, spaceAfter=2
)
_TITLE = ParagraphStyle("title", parent=_HEAD, fontSize=16, leading=20)


def guide_sheet(paper: Paper, word: Callable[[str], str] = str) -> bytes:
    """Return the guide as a PDF of one page on ``paper``.

    Parameters
    ----------
    paper : {"a4", "letter"}
    word : callable, optional
        Puts a sentence's lengths into the reader's unit; millimetres where not given.

    Raises
    ------
    ValueError
        For a paper that isn't stocked.
    """
    if paper not in PAPERS:
        raise ValueError(f"paper must be {' or '.join(PAPERS)}, not {paper!r}")
    out = io.BytesIO()
    margin = 16 * mm
    document = SimpleDocTemplate(
        out,
        pagesize=PAPERS[paper],
        title=TITLE,
        leftMargin=margin,
        rightMargin=margin,
        topMargin=margin,
        bottomMargin=margin,
    )
    document.build(list(_flow(document.width, word)))
    return out.getvalue()


def _flow(width: float, word: Callable[[str], str]) -> Iterator[Flowable]:
    yield Paragraph(TITLE, _TITLE)
    yield Spacer(1, 3 * mm)
    yield _reference_table(width, word)
    for chapter in CHAPTERS:
        yield Paragraph(chapter.title, _HEAD)
        for point in chapter.points:
            yield Paragraph(word(point), _POINT, bulletText="•")


def _reference_table(width: float, word: Callable[[str], str]) -> Table:
    rows = [["Lay there", "Size", "Where", "Serves", "Why"]]
    cells = [[Paragraph(word(text), _BODY) for text in vars(reference).values()] for reference in REFERENCES]
    shares = (0.19, 0.22, 0.12, 0.09, 0.38)
    table = Table([*rows, *cells], colWidths=[width * share for share in shares])
    table.setStyle(
        TableStyle(
            [
                ("FONTNAME", (0, 0), (-1, 0), "Helvetica-Bold"),
                ("LINEBELOW", (0, 0), (-1, 0), 1.2, "black"),
                ("LINEBELOW", (0, 1), (-1, -1), 0.4, "black"),
                ("VALIGN", (0, 0), (-1, -1), "TOP"),
                ("LEFTPADDING", (0, 0), (0, -1), 0),
            ]
        ),
    )
    return table
