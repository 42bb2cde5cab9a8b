"""HTML from templates: one environment, everything escaped, every page with the caution."""

from __future__ import annotations

from functools import cache
from typing import Any
from urllib.parse import urlencode

from jinja2 import Environment, PackageLoader, StrictUndefined
from starlette.responses import HTMLResponse

from litlamp import __version__
from litlamp.aspects.cautions import LONG, SHORT
from litlamp.page.whatif import SIDE_WORDS

VIEWS = (("/", "Read"), ("/learn", "Learn"), ("/practise", "Practise"), ("/keep", "Keep"))


@cache
def _environment() -> Environment:
    made = Environment(
        loader=PackageLoader("litlamp.page"),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
    )
    made.globals.update(
        short_caution=SHORT, long_caution=LONG, views=VIEWS, version=__version__, side_words=SIDE_WORDS,
        query=lambda fields: urlencode(fields),
    )  # fmt: skip
    made.filters["pairs"] = lambda names: [(name, name) for name in names]
    made.filters["n"] = lambda value: f"{value:.2f}".rstrip("0").rstrip(".")
    return made


def html(template: str, view: str, **values: Any) -> str:
    """The page as text. `view` is the path of the view that it belongs to."""
    return _environment().get_template(template).render(view=view, **values)


def page(
    template: str, view: str, *, status: int = 200, headers: dict[str, str] | None = None, **values: Any
) -> HTMLResponse:
    """The page as an answer."""
    return HTMLResponse(html(template, view, **values), status, headers)


def fault(status: int, title: str, words: str, headers: dict[str, str] | None = None) -> HTMLResponse:
    """A page that says what went wrong, in a sentence."""
    return page("fault.html", "", status=status, headers=headers, title=title, words=words)
