"""The printable face tags: AprilTag 36h11, black square 40.0 mm on 50 mm of white, drawn as vectors."""

import io
from dataclasses import dataclass
from functools import cache
from typing import Literal

import cv2
import numpy as np
import numpy.typing as npt
from reportlab.lib.pagesizes import A4, LETTER
from reportlab.lib.units import mm
from reportlab.pdfgen.canvas import FILL_EVEN_ODD, Canvas

Paper = Literal["a4", "letter"]
PAPERS = {"a4": A4, "letter": LETTER}

TAG_IDS = (0, 1, 2)
BLACK_MM = 40.0
WHITE_MM = 50.0
MODULES = 8  # six data cells and a black border of one on each side
MODULE_MM = BLACK_MM / MODULES
BAR_MM = 100.0

_GAP_MM = 8.0
_TOP_MM = 34.0
_MARGIN_MM = 20.0
_CUT_GREY = 0.55
_STEPS = (
    "1  Print at 100 % (actual size, no fitting to the page) on plain white paper.",
    "2  Lay a good rule on the bar below: 100.0 mm (3.94 in), give or take 0.1 mm? Then the tags are right.",
    "    Another length: measure a tag's black square from side to side, and give that with the photo",
    "    (on the command line tag:39.2). Nothing measured: say so (tag:unmeasured); it costs 3 % of doubt.",
    "3  Cut along the grey lines. Keep the white border whole: it is part of the tag.",
    "4  Lay one to three tags flat on the rotor's friction face, spread round the ring: not on the bench",
    "    beside it, not over its edge. On an upright face tape or a magnet behind them holds them; tell its",
    "    thickness as the lift.",
    "5  Photograph the whole rotor from 60 to 90 cm (2 to 3 feet), tilted 10 to 25 degrees, the hat towards you.",
)


@dataclass(frozen=True)
class Layout:
    """Where things stand on the page, mm from its lower left corner."""

    page_mm: tuple[float, float]

    def tag_corner_mm(self, index: int) -> tuple[float, float]:
        """Return the lower left corner of a tag's white square."""
        width_mm, height_mm = self.page_mm
        row_mm = len(TAG_IDS) * WHITE_MM + (len(TAG_IDS) - 1) * _GAP_MM
        return (width_mm - row_mm) / 2.0 + index * (WHITE_MM + _GAP_MM), height_mm - _TOP_MM - WHITE_MM

    @property
    def text_top_mm(self) -> float:
        """Height of the first line of the steps."""
        return self.tag_corner_mm(0)[1] - 20.0

    @property
    def bar_corner_mm(self) -> tuple[float, float]:
        """The check bar's lower left corner."""
        return (self.page_mm[0] - BAR_MM) / 2.0, self.text_top_mm - 80.0


def tag_sheet(paper: Paper) -> bytes:
    """Return the sheet as a PDF.

    Parameters
    ----------
    paper : {"a4", "letter"}

    References
    ----------
    Olson, AprilTag: a robust and flexible visual fiducial system, 2011 (the family); its cells come from cv2.aruco.
    ISO 216 and ANSI/ASME Y14.1 for the papers, by way of reportlab.
    """
    out = io.BytesIO()
    size_pt = PAPERS[paper]
    canvas = Canvas(out, pagesize=size_pt, invariant=1)
    layout = Layout((size_pt[0] / mm, size_pt[1] / mm))
    canvas.setTitle("Whichrotor face tags")
    canvas.setViewerPreference("PrintScaling", "None")
    _draw_words(canvas, layout)
    for index, tag_id in enumerate(TAG_IDS):
        _draw_tag(canvas, layout.tag_corner_mm(index), tag_id)
    _draw_bar(canvas, layout.bar_corner_mm)
    canvas.showPage()
    canvas.save()
    return out.getvalue()


@cache
def white_cells(tag_id: int) -> npt.NDArray[np.bool_]:
    """Return which of a tag's cells are white, (8, 8), row 0 at the top."""
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    return np.asarray(cv2.aruco.generateImageMarker(family, tag_id, MODULES) > 127)


def _draw_tag(canvas: Canvas, corner_mm: tuple[float, float], tag_id: int) -> None:
    x_mm, y_mm = corner_mm
    _draw_cut_line(canvas, corner_mm)
    border_mm = (WHITE_MM - BLACK_MM) / 2.0
    left_mm, bottom_mm = x_mm + border_mm, y_mm + border_mm
    # One path, filled once: separate rectangles would show hairlines where they meet.
    path = canvas.beginPath()
    path.rect(left_mm * mm, bottom_mm * mm, BLACK_MM * mm, BLACK_MM * mm)
    for row, column in np.argwhere(white_cells(tag_id)):
        cell_x_mm = left_mm + column * MODULE_MM
        cell_y_mm = bottom_mm + (MODULES - 1 - row) * MODULE_MM
        path.rect(cell_x_mm * mm, cell_y_mm * mm, MODULE_MM * mm, MODULE_MM * mm)
    canvas.setFillGray(0.0)
    canvas.drawPath(path, stroke=0, fill=1, fillMode=FILL_EVEN_ODD)
    canvas.setFont("Helvetica", 8)
    canvas.drawCentredString((x_mm + WHITE_MM / 2.0) * mm, (y_mm - 5.0) * mm, f"tag {tag_id}")


def _draw_cut_line(canvas: Canvas, corner_mm: tuple[float, float]) -> None:
    canvas.setStrokeGray(_CUT_GREY)
    canvas.setLineWidth(0.1 * mm)
    canvas.rect(corner_mm[0] * mm, corner_mm[1] * mm, WHITE_MM * mm, WHITE_MM * mm, stroke=1, fill=0)


def _draw_words(canvas: Canvas, layout: Layout) -> None:
    canvas.setFillGray(0.0)
    canvas.setFont("Helvetica-Bold", 16)
    canvas.drawString(_MARGIN_MM * mm, (layout.page_mm[1] - 20.0) * mm, "Face tags for measuring a brake rotor")
    text = canvas.beginText(_MARGIN_MM * mm, layout.text_top_mm * mm)
    text.setFont("Helvetica", 9.5, leading=15)
    text.textLines("\n".join(_STEPS), trim=0)
    canvas.drawText(text)


def _draw_bar(canvas: Canvas, corner_mm: tuple[float, float]) -> None:
    x_mm, y_mm = corner_mm
    canvas.setFillGray(0.0)
    canvas.rect(x_mm * mm, y_mm * mm, BAR_MM * mm, 4.0 * mm, stroke=0, fill=1)
    canvas.setFont("Helvetica", 9.5)
    middle = (x_mm + BAR_MM / 2.0) * mm
    canvas.drawCentredString(middle, (y_mm - 6.0) * mm, "Check bar: from end to end exactly 100 mm (3.937 in)")
    canvas.drawCentredString(middle, (y_mm + 8.0) * mm, "measure here after printing")
