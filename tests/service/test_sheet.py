"""The printable face tags: their geometry as drawn, and as a detector that knows nothing of us reads it.

Sizes: the contract's 40.0 +- 0.05 mm black square on 50 mm of white and its 100 mm bar. Cells and detection:
OpenCV's ArUco module and its dictionary 36h11. Papers: ISO 216 (A4) and ANSI/ASME Y14.1 (Letter).
"""

from collections.abc import Iterator
from pathlib import Path

import cv2
import numpy as np
import pypdfium2
import pypdfium2.raw as pdfium
import pytest

from service.cli import main
from service.sheet import PAPERS, Paper, tag_sheet

POINTS_PER_MM = 72.0 / 25.4
PAPER_MM = {"a4": (210.0, 297.0), "letter": (215.9, 279.4)}
DRAWN_MM = 0.001  # what six decimals of a point leave, generously
RASTER_DPI = 400
DETECTED_MM = 0.05  # a detector's corners to about one pixel of 0.064 mm


@pytest.fixture(params=sorted(PAPERS))
def paper(request: pytest.FixtureRequest) -> Paper:
    name: Paper = request.param
    return name


def filled_paths_mm(pdf: bytes) -> Iterator[tuple[float, float, float, float]]:
    """Left, bottom, right, top of each filled path, mm."""
    with pypdfium2.PdfDocument(pdf) as document:
        for item in document[0].get_objects(filter=[pdfium.FPDF_PAGEOBJ_PATH]):
            fill, stroke = pdfium.c_int(), pdfium.FPDF_BOOL()
            pdfium.FPDFPath_GetDrawMode(item, fill, stroke)
            if fill.value != pdfium.FPDF_FILLMODE_NONE:
                left, bottom, right, top = (side / POINTS_PER_MM for side in item.get_bounds())
                yield left, bottom, right, top


def raster(pdf: bytes) -> np.ndarray:
    with pypdfium2.PdfDocument(pdf) as document:
        return np.asarray(document[0].render(scale=RASTER_DPI / 72.0, grayscale=True).to_pil())


def test_the_page_is_the_paper(paper: Paper) -> None:
    with pypdfium2.PdfDocument(tag_sheet(paper)) as document:
        assert len(document) == 1
        size_mm = np.array(document[0].get_size()) / POINTS_PER_MM
    np.testing.assert_allclose(size_mm, PAPER_MM[paper], rtol=0, atol=0.01)


def test_three_black_squares_of_40_mm_and_a_bar_of_100_are_drawn(paper: Paper) -> None:
    boxes = np.array(list(filled_paths_mm(tag_sheet(paper))))
    widths, heights = boxes[:, 2] - boxes[:, 0], boxes[:, 3] - boxes[:, 1]
    tags = np.isclose(widths, 40.0, rtol=0, atol=DRAWN_MM)
    assert tags.sum() == 3
    np.testing.assert_allclose(heights[tags], 40.0, rtol=0, atol=DRAWN_MM)
    (bar,) = widths[~tags]
    assert bar == pytest.approx(100.0, rel=0, abs=DRAWN_MM)


def test_each_tag_has_its_white_border_to_itself_on_the_paper(paper: Paper) -> None:
    boxes = [box for box in filled_paths_mm(tag_sheet(paper)) if abs(box[2] - box[0] - 40.0) < DRAWN_MM]
    width_mm, height_mm = PAPER_MM[paper]
    for left, bottom, right, top in boxes:
        assert min(left, bottom, width_mm - right, height_mm - top) > 5.0
    lefts = sorted(box[0] for box in boxes)
    assert min(np.diff(lefts)) > 50.0


def test_opencv_reads_the_tags_0_1_2_at_their_size(paper: Paper) -> None:
    image = raster(tag_sheet(paper))
    family = cv2.aruco.getPredefinedDictionary(cv2.aruco.DICT_APRILTAG_36h11)
    settings = cv2.aruco.DetectorParameters()
    settings.cornerRefinementMethod = cv2.aruco.CORNER_REFINE_SUBPIX
    corners, ids, _ = cv2.aruco.ArucoDetector(family, settings).detectMarkers(image)
    assert sorted(ids.ravel()) == [0, 1, 2]
    for corner_px in corners:
        sides_px = np.linalg.norm(corner_px[0] - np.roll(corner_px[0], 1, axis=0), axis=1)
        np.testing.assert_allclose(sides_px * 25.4 / RASTER_DPI, 40.0, rtol=0, atol=DETECTED_MM)


def test_no_hairlines_run_through_the_tags(paper: Paper) -> None:
    image = raster(tag_sheet(paper))
    left, bottom, right, top = next(
        box for box in filled_paths_mm(tag_sheet(paper)) if abs(box[2] - box[0] - 40.0) < DRAWN_MM
    )
    px_per_mm = RASTER_DPI / 25.4
    above_mm, below_mm = PAPER_MM[paper][1] - top, PAPER_MM[paper][1] - bottom
    rows = slice(round((above_mm + 0.5) * px_per_mm), round((below_mm - 0.5) * px_per_mm))
    inside = image[rows, round((left + 0.5) * px_per_mm) : round((right - 0.5) * px_per_mm)]
    cell_px = 5.0 * px_per_mm
    # Grey occurs only where black meets white: at most a pixel or two along cell borders.
    grey = ((inside > 20) & (inside < 235)).mean()
    assert grey < 2.0 * 2.0 / cell_px
    first_row = inside[: int(cell_px * 0.8)]
    assert first_row.max() < 20


def test_the_sheet_says_what_to_do(paper: Paper) -> None:
    with pypdfium2.PdfDocument(tag_sheet(paper)) as document:
        words = document[0].get_textpage().get_text_bounded()
    for needed in ("100 %", "100 mm", "Cut", "friction face", "tag:39.2", "tag:unmeasured"):
        assert needed in words


def test_the_command_writes_the_sheet(tmp_path: Path, capsys: pytest.CaptureFixture[str]) -> None:
    out = tmp_path / "tags.pdf"
    assert main(["sheet", str(out), "--paper", "letter"]) == 0
    assert out.read_bytes() == tag_sheet("letter")
    assert capsys.readouterr().out == ""
    assert [path.name for path in tmp_path.iterdir()] == ["tags.pdf"]
