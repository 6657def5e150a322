"""Renders templates: whole pages, or the main part alone for a page that is open; knows no route."""

from __future__ import annotations

import datetime as dt
from http import HTTPStatus
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from sanic import HTTPResponse, Request, Sanic
from sanic.response import html

from assistant.channels.web.wording import figure, load_words, say

FOLDER = Path(__file__).parent / "templates"
App = Sanic[Any, Any]
PART = "x-part"
"""Sent by the page's own script when it wants the main part alone."""


def build_environment() -> Environment:
    """Return the templates with the words of the screens; an unknown name in one is an error."""
    environment = Environment(
        loader=FileSystemLoader(FOLDER),
        autoescape=True,
        undefined=StrictUndefined,
        trim_blocks=True,
        lstrip_blocks=True,
        auto_reload=False,
    )
    environment.globals |= {"w": load_words(), "figure": figure}
    environment.filters |= {"fill": say, "number": show_number, "clock": show_clock}
    return environment


def fields_of(request: Request) -> dict[str, str]:
    """Return the fields of a form that was sent, each once."""
    form: dict[str, list[str]] = dict(request.form or {})
    return {name: str(values[0]) for name, values in form.items()}


def show_number(value: float | None) -> str:
    """Return a number without needless zeros."""
    return "" if value is None else f"{round(value, 2):g}"


def show_clock(moment: dt.datetime) -> str:
    """Return a moment's time of day where this machine stands."""
    return moment.astimezone().strftime("%H:%M")


def render(request: Request, template: str, status: int = HTTPStatus.OK, **values: Any) -> HTTPResponse:
    """Return a page, or its main part where the open page asked for that."""
    layout = "part.html" if request.headers.get(PART) else values.pop("layout", "page.html")
    values.pop("layout", None)
    environment: Environment = request.app.ctx.environment
    text = environment.get_template(template).render(layout=layout, **values)
    return html(text, status=status, headers={"Vary": PART})


async def show_fault(request: Request, status: int) -> HTTPResponse:
    """Return the page of a request that is not answered: what it means and where to go, nothing of the inside."""
    faults = load_words()["faults"]
    known = str(status) if str(status) in faults else ("500" if status >= HTTPStatus.INTERNAL_SERVER_ERROR else "400")
    on_board = request.path.startswith("/board")
    return render(
        request, "fault.html", status, fault=faults[known], home="/board/" if on_board else "/", board=on_board
    )
