"""From an identification's ``chart`` to the charts that are drawn."""

from collections.abc import Iterator, Mapping
from typing import Any

from service.charts import ReadingChart, Span
from service.pages.questions import evidence_words

Wire = Mapping[str, Any]


def charts_of(identification: Wire) -> Iterator[ReadingChart]:
    """Yield one chart for each reading that candidates have a range for."""
    charts = identification.get("chart") or ()
    several_axles = len({chart["axle"] for chart in charts}) > 1
    for chart in charts:
        if chart["spans"]:
            yield ReadingChart(
                title=_title(chart) + (f", {chart['axle']}" if several_axles else ""),
                value_mm=chart["value_mm"],
                low_mm=chart["low_mm"],
                high_mm=chart["high_mm"],
                spans=[_span(span) for span in chart["spans"]],
            )


def _title(chart: Wire) -> str:
    """Return which length was read, and what it was read off where that was no hand tool."""
    words = evidence_words(chart["length"])
    if chart["evidence"] == "measurements":
        return f"{words}, from the photo"
    return words if chart["evidence"] == chart["length"] else f"{words}, by the {_lower(chart['evidence'])}"


def _lower(evidence: str) -> str:
    return evidence_words(evidence).lower()


def _span(span: Wire) -> Span:
    return Span(span["package"], span["low_mm"], span["high_mm"], span["worn_to_mm"], span["probability"])
