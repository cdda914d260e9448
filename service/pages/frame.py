"""What every page stands in: the reader's unit and colours, the templates and their filters."""

import re
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any, Literal

from fastapi import Request
from jinja2 import Environment, FileSystemLoader, StrictUndefined, pass_context
from jinja2.runtime import Context as TemplateContext
from markupsafe import Markup, escape
from starlette.responses import HTMLResponse, RedirectResponse

from service.pages.lengths import Unit, show_length
from service.pages.questions import TOOLS, evidence_words
from service.pages.sentences import in_unit

TEMPLATES = Path(__file__).parents[1] / "templates"
# Nothing comes from elsewhere and nothing runs inline; going back asks again, so that it shows what is true now.
HEADERS = {
    "Cache-Control": "no-store",
    "Content-Security-Policy": "default-src 'self'; object-src 'none'; base-uri 'none'; frame-ancestors 'none'",
    "Referrer-Policy": "same-origin",
}
UNITS: tuple[Unit, ...] = ("mm", "in")
_PART_NUMBER = re.compile(r"\b([A-Z0-9]+(?:-[A-Z0-9]+)+)\b")
_SHARE = re.compile(r"(\d) ?%")
Theme = Literal["auto", "light", "dark"]
THEMES: tuple[Theme, ...] = ("auto", "light", "dark")


@dataclass(frozen=True)
class Frame:
    """How this reader wants pages.

    Attributes
    ----------
    unit : {"mm", "in"}
    theme : {"auto", "light", "dark"}
    here : str
        Path and query of this page, to come back to.
    job : str
        The job this browser worked on last; empty where none.
    """

    unit: Unit = "mm"
    theme: Theme = "auto"
    here: str = "/"
    job: str = ""

    @property
    def next_theme(self) -> Theme:
        """What the one button for colours turns to."""
        return THEMES[(THEMES.index(self.theme) + 1) % len(THEMES)]


def frame_of(request: Request) -> Frame:
    """Return what the request's cookies ask for; an unknown value counts as not asked."""
    unit, theme = request.cookies.get("unit"), request.cookies.get("theme")
    return Frame(
        unit=unit if unit in UNITS else "mm",
        theme=theme if theme in THEMES else "auto",
        here=request.url.path + (f"?{request.url.query}" if request.url.query else ""),
        job=request.cookies.get("job", ""),
    )


def show_page(request: Request, template: str, page: Any, status: int = 200) -> HTMLResponse:
    """Fill ``template`` with ``page``, the dataclass that is its whole context."""
    text = _environment().get_template(template).render(page=page, frame=frame_of(request))
    return HTMLResponse(text, status, HEADERS)


def go_to(address: str) -> RedirectResponse:
    """Answer a form so that neither reload nor back sends it again."""
    return RedirectResponse(address, 303)


@cache
def _environment() -> Environment:
    environment = Environment(
        loader=FileSystemLoader(TEMPLATES),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    environment.filters.update(
        as_length=_length,
        in_unit=_in_unit,
        evidence_words=evidence_words,
        unbroken=unbroken,
        percent=show_probability,
        years=show_years,
    )
    environment.globals["TOOLS"] = TOOLS
    return environment


@pass_context
def _length(context: TemplateContext, length_mm: float) -> str:
    return show_length(length_mm, context["frame"].unit)


@pass_context
def _in_unit(context: TemplateContext, text: str, decimals: int = 3) -> str:
    return in_unit(text, context["frame"].unit, decimals=decimals)


def unbroken(text: str) -> Markup:
    """Return ``text`` with its part numbers kept from breaking at their hyphens, and its figures with their %."""
    kept = _PART_NUMBER.sub(r'<span class="num">\1</span>', str(escape(text)))
    return Markup(_SHARE.sub("\\1&nbsp;%", kept))


def show_years(years: str) -> str:
    """Return a span of years as it is read; one without an end is still made.

    >>> show_years("2018-2023"), show_years("2021-")
    ('2018 to 2023', '2021 to now')
    """
    first, _, last = years.partition("-")
    return f"{first} to {last or 'now'}" if "-" in years else years


def show_probability(probability: float) -> str:
    """Return a probability as a percentage that never claims certainty.

    >>> show_probability(0.9996), show_probability(0.42), show_probability(0.0004)
    ('over 99.9 %', '42 %', 'under 0.1 %')
    """
    if probability > 0.999:
        return "over 99.9 %"
    if probability < 0.001:
        return "under 0.1 %"
    return f"{100 * probability:.0f} %" if 0.1 <= probability <= 0.9 else f"{100 * probability:.1f} %"
