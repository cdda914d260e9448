"""Pictures from numbers, as SVG: a reading against the candidates' ranges, a rotor to scale, who looks like whom."""

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from xml.etree import ElementTree as Svg

from markupsafe import Markup

CHART_WIDTH = 360
ROW_HEIGHT = 48
LANE_TOP, LANE_HEIGHT = 20, 24
BAR_TOP, BAR_HEIGHT = 25, 14
AXIS_HEIGHT = 22
MARGIN = 6


@dataclass(frozen=True)
class Span:
    """What one candidate would read.

    Attributes
    ----------
    name : str
        The candidate as the ranking names it.
    low_mm, high_mm : float
        The new part with its tolerance, mm.
    worn_to_mm : float, optional
        Down to where wear may bring it, mm; only a thickness has one.
    probability : float
        The candidate's probability, 0 to 1.
    """

    name: str
    low_mm: float
    high_mm: float
    worn_to_mm: float | None = None
    probability: float = 0.0


@dataclass(frozen=True)
class ReadingChart:
    """One reading with its 95 % interval, and what each candidate would read."""

    title: str
    value_mm: float
    low_mm: float
    high_mm: float
    spans: Sequence[Span]


@dataclass(frozen=True)
class RotorFigures:
    """A rotor's numbers, as its drawing needs them; what is not known is not drawn."""

    diameter_mm: float
    thickness_mm: float
    height_mm: float | None = None
    ring_inner_mm: float | None = None
    hat_mm: float | None = None
    centre_bore_mm: float | None = None
    bolt_count: int | None = None
    bolt_circle_mm: float | None = None
    surface: str | None = None
    ventilation: str | None = None
    construction: str | None = None


def reading_chart(chart: ReadingChart, show_length: Callable[[float], str]) -> Markup:
    """Draw a reading's interval as a band through every candidate's bar.

    Parameters
    ----------
    chart : ReadingChart
    show_length : callable
        Turns millimetres into the text of the reader's unit.

    Returns
    -------
    Markup
        An ``<svg>`` that scales with its container; colours come from the page's style sheet.
    """
    to_x = _scale(chart)
    height = len(chart.spans) * ROW_HEIGHT + AXIS_HEIGHT
    told = f"{chart.title}: read {show_length(chart.value_mm)}, between {show_length(chart.low_mm)} and "
    svg = _drawing(f"0 0 {CHART_WIDTH} {height}", told + show_length(chart.high_mm), "chart")
    for row, span in enumerate(chart.spans):
        lane = Svg.SubElement(svg, "g", {"transform": f"translate(0 {row * ROW_HEIGHT})"})
        _draw_lane(lane, chart, to_x)
        _draw_span(lane, span, to_x=to_x, show_length=show_length)
    _label(svg, show_length(chart.value_mm), "axis", x=_clear_of_edge(to_x(chart.value_mm)), y=height - 8)
    return _markup(svg)


def _draw_lane(lane: Svg.Element, chart: ReadingChart, to_x: Callable[[float], float]) -> None:
    """Draw the reading's interval and its middle behind one candidate's bar, clear of the candidate's name."""
    left, right, middle = to_x(chart.low_mm), to_x(chart.high_mm), to_x(chart.value_mm)
    _add(lane, "rect", "lane", x=0, y=LANE_TOP, width=CHART_WIDTH, height=LANE_HEIGHT)
    _add(lane, "rect", "reading", x=left, y=LANE_TOP, width=max(right - left, 1.5), height=LANE_HEIGHT)
    _add(lane, "line", "value", x1=middle, x2=middle, y1=LANE_TOP, y2=LANE_TOP + LANE_HEIGHT)


def _scale(chart: ReadingChart) -> Callable[[float], float]:
    """Map millimetres to the chart's width, everything shown inside it."""
    ends = [chart.low_mm, chart.high_mm]
    for span in chart.spans:
        ends += [span.low_mm, span.high_mm, *([span.worn_to_mm] if span.worn_to_mm is not None else [])]
    low_mm, high_mm = min(ends), max(ends)
    pad_mm = 0.06 * (high_mm - low_mm) or 1.0
    per_mm = (CHART_WIDTH - 2 * MARGIN) / (high_mm - low_mm + 2 * pad_mm)
    return lambda length_mm: MARGIN + (length_mm - low_mm + pad_mm) * per_mm


def _draw_span(
    lane: Svg.Element, span: Span, *, to_x: Callable[[float], float], show_length: Callable[[float], str]
) -> None:
    if span.worn_to_mm is not None and span.worn_to_mm < span.low_mm:
        worn, new = to_x(span.worn_to_mm), to_x(span.low_mm)
        _add(lane, "rect", "worn", x=worn, y=BAR_TOP + 3, width=new - worn, height=BAR_HEIGHT - 6)
    left, right = to_x(span.low_mm), to_x(span.high_mm)
    _add(lane, "rect", "new", x=left, y=BAR_TOP, width=max(right - left, 3), height=BAR_HEIGHT)
    _label(lane, span.name, "name", x=0, y=LANE_TOP - 6)
    _label(lane, _span_text(span, show_length), "figures", x=CHART_WIDTH, y=LANE_TOP - 6)


def _span_text(span: Span, show_length: Callable[[float], str]) -> str:
    new = show_length((span.low_mm + span.high_mm) / 2)
    return new if span.worn_to_mm is None else f"{new} new, {show_length(span.worn_to_mm)} worn"


def _clear_of_edge(x: float) -> float:
    return min(max(x, 40.0), CHART_WIDTH - 40.0)


def rotor_drawing(rotor: RotorFigures, *, largest_mm: float, title: str) -> Markup:
    """Draw a rotor's face and, below it, its edge, both to one scale.

    Parameters
    ----------
    rotor : RotorFigures
    largest_mm : float
        The diameter that fills the drawing's width, so that several drawings compare at a glance.
    title : str
        What the drawing shows, for those who can't see it.

    Returns
    -------
    Markup
        An ``<svg>`` whose user unit is one millimetre.
    """
    half = largest_mm / 2 + 5
    edge_room = max(rotor.height_mm or 0.0, rotor.thickness_mm) + 25
    svg = _drawing(f"{-half:g} {-half:g} {2 * half:g} {2 * half + edge_room:g}", title, "rotor")
    _draw_face(svg, rotor)
    _draw_edge(svg, rotor, rotor.diameter_mm / 2 + 15)
    return _markup(svg)


def _draw_face(svg: Svg.Element, rotor: RotorFigures) -> None:
    rim = rotor.diameter_mm / 2
    ring_inner = (rotor.ring_inner_mm or 0.6 * rotor.diameter_mm) / 2
    _add(svg, "circle", "ring", r=rim)
    _draw_surface(svg, rotor.surface or "plain", ring_inner, rim)
    _add(svg, "circle", "hat", r=ring_inner)
    if rotor.hat_mm:
        _add(svg, "circle", "hat", r=rotor.hat_mm / 2)
    if rotor.construction == "two-piece":
        _dots(svg, "rivet", _around(10, ring_inner - 5), 3)
    if rotor.centre_bore_mm:
        _add(svg, "circle", "hole", r=rotor.centre_bore_mm / 2)
    if rotor.bolt_count and rotor.bolt_circle_mm:
        _dots(svg, "hole", _around(rotor.bolt_count, rotor.bolt_circle_mm / 2), 7)


def _draw_surface(svg: Svg.Element, surface: str, inner: float, outer: float) -> None:
    """Mark the ring's kind; the count of marks is a sign for the kind, not the part's own count."""
    width = outer - inner
    for kind, radius in (("drilled", 3.5), ("dimpled", 3.5)):
        if kind in surface:
            for step in range(3):
                at = inner + width * (0.25 + 0.25 * step)
                _dots(svg, kind, _around(18, at, math.radians(6 * step)), radius)
    if "slotted" in surface:
        starts = _around(8, inner + 0.1 * width, math.radians(11))
        ends = _around(8, outer - 0.08 * width, math.radians(24))
        for (x1, y1), (x2, y2) in zip(starts, ends, strict=True):
            _add(svg, "line", "slot", x1=x1, y1=y1, x2=x2, y2=y2)


def _draw_edge(svg: Svg.Element, rotor: RotorFigures, top: float) -> None:
    """Draw the part as seen from the side: ring below, hat above it."""
    rim, thickness = rotor.diameter_mm / 2, rotor.thickness_mm
    hat_over_ring = max((rotor.height_mm or thickness) - thickness, 0.0)
    hat = (rotor.hat_mm or rotor.ring_inner_mm or 0.55 * rotor.diameter_mm) / 2
    if hat_over_ring:
        _add(svg, "rect", "hat", x=-hat, y=top, width=2 * hat, height=hat_over_ring)
    _add(svg, "rect", "ring", x=-rim, y=top + hat_over_ring, width=2 * rim, height=thickness)
    if rotor.ventilation == "vented":
        gap = thickness / 3
        _add(svg, "rect", "vent", x=-rim, y=top + hat_over_ring + gap, width=2 * rim, height=gap)


def _around(count: int, radius: float, turn_rad: float = 0.0) -> list[tuple[float, float]]:
    steps = (turn_rad + 2 * math.pi * number / count - math.pi / 2 for number in range(count))
    return [(radius * math.cos(angle), radius * math.sin(angle)) for angle in steps]


def _dots(svg: Svg.Element, kind: str, centres: Sequence[tuple[float, float]], radius: float) -> None:
    for x, y in centres:
        _add(svg, "circle", kind, cx=x, cy=y, r=radius)


def _drawing(view_box: str, title: str, kind: str) -> Svg.Element:
    svg = Svg.Element("svg", {"viewBox": view_box, "class": kind, "role": "img", "aria-label": title})
    Svg.SubElement(svg, "title").text = title
    return svg


def _add(svg: Svg.Element, tag: str, kind: str, **numbers: float) -> None:
    at: Mapping[str, str] = {key: f"{number:.2f}".rstrip("0").rstrip(".") for key, number in numbers.items()}
    Svg.SubElement(svg, tag, {"class": kind, **at})


def _label(svg: Svg.Element, text: str, kind: str, *, x: float, y: float) -> None:
    Svg.SubElement(svg, "text", {"class": kind, "x": f"{x:.1f}", "y": f"{y:.1f}"}).text = text


def _markup(svg: Svg.Element) -> Markup:
    return Markup(Svg.tostring(svg, encoding="unicode"))  # ElementTree has escaped every text and attribute
