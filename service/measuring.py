"""One photo in, one measurement out: what the command line, the workers and a batch all call."""

from dataclasses import dataclass
from pathlib import Path
from typing import Any

from threadpoolctl import threadpool_limits

from service.options import Order
from vision import Measurement, Photo, PhotoError, draw_overlay, measure_face, read_photo


class PhotoFault(Exception):  # noqa: N818 - the person's file is at fault, not the program
    """A file that can't be read or decoded.

    Parameters
    ----------
    kind : {"missing", "unreadable", "broken", "too-large"}
        No such file; not a picture; a picture that breaks off; too many pixels or bytes.
    message : str
        One line: what, and how to mend it.
    """

    def __init__(self, kind: str, message: str) -> None:
        super().__init__(kind, message)  # both, so that it survives the way out of a worker process
        self.kind, self.message = kind, message

    def __str__(self) -> str:
        return self.message


@dataclass(frozen=True)
class Measured:
    """A measurement's wire form and, where asked for, the photo with what was found drawn on it."""

    measurement: dict[str, Any]
    overlay_png: bytes | None = None


def measure(source: Path | bytes, name: str, order: Order, *, overlay: bool = False) -> Measured:
    """Measure one photo.

    Parameters
    ----------
    source : Path or bytes
        The file, or what is in it.
    name : str
        What the reader knows it by.
    order : Order
        View and what was said about the photo.
    overlay : bool
        Whether to draw what was found.

    Raises
    ------
    PhotoFault
        For a file that can't be read or decoded. A refused photo does not raise.
    """
    photo = read(source, name)
    # Its matrices are small: more threads than one would do nothing but wait for each other.
    with threadpool_limits(1, "blas"):
        measurement = _look(photo, order)
    wire = measurement.to_json()
    if order.told:
        wire["told"] = order.told
    return Measured(wire, draw_overlay(photo, measurement) if overlay else None)


def _look(photo: Photo, order: Order) -> Measurement:
    if order.view == "face":
        return measure_face(photo, order.request)
    from vision.edge_view import measure_edge  # few photos show an edge: the others don't wait for it to load

    return measure_edge(photo, order.request)


def read(source: Path | bytes, name: str) -> Photo:
    """Return the decoded photo.

    Raises
    ------
    PhotoFault
        For a file that can't be read or decoded.
    """
    try:
        return read_photo(source, name)
    except PhotoError as fault:
        raise PhotoFault(fault.kind, str(fault)) from fault
