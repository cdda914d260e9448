"""Labels for the rotors of a batch: what each is, what it fits, and what to mind."""

import io
from collections.abc import Iterator, Mapping, Sequence
from typing import Any

from reportlab.lib.pagesizes import A4
from reportlab.lib.styles import ParagraphStyle
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import Canvas
from reportlab.platypus import KeepInFrame, Paragraph

from service.measurement_text import NAMES, chances, interval
from service.results import best_length, fits, refusals

Record = Mapping[str, Any]
COLUMNS, ROWS = 2, 4
LABEL_MM = (95.0, 65.0)
_PAGE_MM = (A4[0] / mm, A4[1] / mm)
_PADDING_MM = 3.0
_SHOWN_CARS = 8
_CAUTION = (
    "An aid only: the maker's data and the marking on the part prevail. Thickness left does not make it "
    "usable: have cracks, heat marks, pitting and run-out looked at by somebody qualified."
)
_PLAIN = ParagraphStyle("plain", fontName="Helvetica", fontSize=8, leading=9.6)
_HEAD = ParagraphStyle("head", _PLAIN, fontName="Helvetica-Bold", fontSize=11, leading=13, spaceAfter=2)
_SMALL = ParagraphStyle("small", _PLAIN, fontSize=6, leading=7, spaceBefore=2)


def label_sheet(records: Sequence[Record]) -> bytes:
    """Return the labels as a PDF on A4, eight to a page, with cut lines."""
    out = io.BytesIO()
    canvas = Canvas(out, pagesize=A4)
    canvas.setTitle("Whichrotor labels")
    for index, record in enumerate(records):
        place = index % (COLUMNS * ROWS)
        if index and place == 0:
            canvas.showPage()
        _draw(canvas, _corner_mm(place), record)
    canvas.save()
    return out.getvalue()


def label_lines(record: Record) -> list[tuple[ParagraphStyle, str]]:
    """Return a label's paragraphs as style and text, from its head to its caution."""
    return [(_HEAD, str(record["rotor"])), *((_PLAIN, line) for line in _facts(record)), (_SMALL, _CAUTION)]


def _facts(record: Record) -> Iterator[str]:
    for key in ("diameter_mm", "thickness_mm"):
        length = best_length(record, key)
        if length is not None:
            yield f"{NAMES[key]}: {interval(length)}"
    surfaces = [m["surface"] for m in record["measurements"] if m.get("surface")]
    if surfaces:
        yield f"surface: {chances(surfaces[0])}"
    identification = record["identification"]
    if identification is not None:
        yield _fits(identification)
        yield str(identification["message"])
    yield from refusals(record)
    yield from (f"not used: {problem}" for problem in record["problems"])


def _fits(identification: Record) -> str:
    cars = fits(identification)
    if not cars:
        return "fits: nothing that is known here"
    more = len(cars) - _SHOWN_CARS
    word = "fits" if _settled(identification) else "may fit"
    return f"{word}: {'; '.join(cars[:_SHOWN_CARS])}" + (f"; and {more} more, see results.csv" if more > 0 else "")


def _settled(identification: Record) -> bool:
    """Say whether it is known which rotor this is."""
    parts = (identification.get("parts") or {}).values()
    return any((axle.get("rotor") or {}).get("verdict") == "ready" for axle in parts)


def _corner_mm(place: int) -> tuple[float, float]:
    row, column = divmod(place, COLUMNS)
    left_mm = (_PAGE_MM[0] - COLUMNS * LABEL_MM[0]) / 2.0
    top_mm = (_PAGE_MM[1] + ROWS * LABEL_MM[1]) / 2.0
    return left_mm + column * LABEL_MM[0], top_mm - (row + 1) * LABEL_MM[1]


def _draw(canvas: Canvas, corner_mm: tuple[float, float], record: Record) -> None:
    x_pt, y_pt = corner_mm[0] * mm, corner_mm[1] * mm
    width_pt, height_pt = LABEL_MM[0] * mm, LABEL_MM[1] * mm
    canvas.setStrokeGray(0.6)
    canvas.setLineWidth(0.3)
    canvas.rect(x_pt, y_pt, width_pt, height_pt)
    pad_pt = _PADDING_MM * mm
    paragraphs = [Paragraph(_escaped(text), style) for style, text in label_lines(record)]
    # What doesn't fit is drawn smaller, never cut off.
    frame = KeepInFrame(width_pt - 2 * pad_pt, height_pt - 2 * pad_pt, paragraphs, mode="shrink")
    _, used_pt = frame.wrapOn(canvas, width_pt - 2 * pad_pt, height_pt - 2 * pad_pt)
    frame.drawOn(canvas, x_pt + pad_pt, y_pt + height_pt - pad_pt - used_pt)


def _escaped(text: str) -> str:
    return text.replace("&", "&amp;").replace("<", "&lt;").replace(">", "&gt;")
