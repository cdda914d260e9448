"""From an identification's ``chart`` to the charts that are drawn."""

from collections.abc import Mapping
from typing import Any

from service.charts import ReadingChart

Wire = Mapping[str, Any]


def charts_of(identification: Wire) -> list[ReadingChart]:
    """Return one chart for each reading that candidates have a range for."""
    return []
