"""From an identification's ``chart`` to the charts that are drawn."""

import math
from collections.abc import Iterator, Mapping
from typing import Any

from service.charts import ReadingChart, Span
from service.pages.answers import evidence_words

Wire = Mapping[str, Any]


def charts_of(identification: Wire, evidence: Wire) -> Iterator[ReadingChart]:
    """Yield one chart for each reading that candidates have a range for."""
    charts = identification.get("chart") or ()
    several_axles = len({chart["axle"] for chart in charts}) > 1
    for chart in charts:
        if chart["spans"]:
            title = _title(chart, evidence)
            yield ReadingChart(
                title=f"{title}, {chart['axle']}" if several_axles else title,
                value_mm=chart["value_mm"],
                low_mm=chart["low_mm"],
                high_mm=chart["high_mm"],
                spans=[_span(span) for span in chart["spans"]],
            )


def _title(chart: Wire, evidence: Wire) -> str:
    """Return what was read; a photo's chart names no length, so that the photo's lengths tell it."""
    if chart["evidence"] != "measurements":
        return evidence_words(chart["evidence"])
    for measurement in evidence["axles"].get(chart["axle"], {}).get("measurements", ()):
        for key, length in (measurement.get("dimensions") or {}).items():
            if math.isclose(length["value"], chart["value_mm"], abs_tol=1e-3):
                return f"{evidence_words(key)}, from the photo"
    return "From the photos together"


def _span(span: Wire) -> Span:
    return Span(span["package"], span["low_mm"], span["high_mm"], span["worn_to_mm"], span["probability"])
