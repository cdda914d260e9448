"""What was found, drawn on the photo: the fitted curves, and the main length with its interval beside them."""

from textwrap import wrap

import cv2
import numpy as np

from vision.edges import Image
from vision.measurement import FloatArray, Measurement
from vision.photo import Photo

# Blue, green, red: bright on iron, and told apart by colour-blind eyes.
COLOURS = {
    "rim_px": (40, 200, 255),
    "reference_px": (255, 160, 60),
    "ring_inner_px": (190, 190, 90),
    "hat_px": (190, 190, 90),
    "centre_bore_px": (190, 190, 90),
    "wall_px": (120, 120, 255),
}
OTHER, FEATURE = (210, 120, 210), (120, 255, 120)
OPEN = ("slots",)
LABELS = {
    "diameter_mm": "diameter",
    "thickness_mm": "thickness",
    "ring_inner_mm": "ring inside",
    "hat_mm": "hat",
    "centre_bore_mm": "centre bore",
    "bolt_circle_mm": "bolt circle",
    "height_mm": "height",
}


def draw_overlay(photo: Photo, measurement: Measurement) -> bytes:
    """Draw a measurement on its photo.

    Parameters
    ----------
    photo : Photo
    measurement : Measurement

    Returns
    -------
    bytes
        A PNG of the photo's size.
    """
    picture = photo.bgr.copy()
    weight = max(2, round(max(photo.width, photo.height) / 700))
    for kind, outlines in measurement.features_px.items():
        for outline in outlines:
            _draw_line(picture, np.asarray(outline, np.float64), FEATURE, 1 + weight // 3, closed=kind not in OPEN)
    for name, curve in measurement.geometry_px.items():
        _draw_curve(picture, np.asarray(curve, np.float64), COLOURS.get(name, OTHER), weight)
    _write(picture, _lines(measurement), weight)
    done, png = cv2.imencode(".png", picture)
    if not done:
        raise RuntimeError("the overlay could not be encoded as PNG")
    return bytes(png)


def _draw_curve(picture: Image, curve: FloatArray, colour: tuple[int, int, int], weight: int) -> None:
    """Draw closed curves; groups of four are figures of four corners each."""
    pieces = [curve] if len(curve) % 4 or len(curve) > 16 else np.split(curve, len(curve) // 4)
    for piece in pieces:
        _draw_line(picture, piece, colour, weight, closed=True)


def _draw_line(picture: Image, line: FloatArray, colour: tuple[int, int, int], weight: int, *, closed: bool) -> None:
    # Fixed-point coordinates keep the drawn line within a sixteenth of a pixel of the fitted one.
    points = np.round(line * 16).astype(np.int32)
    cv2.polylines(picture, [points], closed, (0, 0, 0), weight + 2, cv2.LINE_AA, shift=4)
    cv2.polylines(picture, [points], closed, colour, weight, cv2.LINE_AA, shift=4)


def _lines(measurement: Measurement) -> list[str]:
    lines = [
        f"{LABELS.get(key, key)} {length.nominal_value:.1f} mm +- {1.96 * length.std_dev:.1f}"
        for key, length in measurement.dimensions.items()
    ]
    return lines + [f"refused: {reason.message}" for reason in measurement.reasons]


def _write(picture: Image, lines: list[str], weight: int) -> None:
    """Write lines from the top left corner on, broken where the picture ends."""
    font, scale, margin_px = cv2.FONT_HERSHEY_SIMPLEX, weight / 2.4, 12 * weight
    rows: list[str] = []
    for line in lines:
        letter_px = cv2.getTextSize(line, font, scale, weight)[0][0] / len(line)
        # Letters differ in width: a row may hold more wide ones than the line does.
        rows += wrap(line, max(1, int(0.93 * (picture.shape[1] - 2 * margin_px) / letter_px)))
    for row, text in enumerate(rows):
        at = (margin_px, round((row + 1.2) * 22 * weight))
        cv2.putText(picture, text, at, font, scale, (0, 0, 0), weight * 2 + 2, cv2.LINE_AA)
        cv2.putText(picture, text, at, font, scale, (255, 255, 255), weight, cv2.LINE_AA)
