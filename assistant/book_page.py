"""The rulebook as one HTML page that loads nothing from elsewhere, to read and to print; decides nothing."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined

from assistant.channels.web.telling import tell_facts
from dialogue.counter.wording import load_wording

if TYPE_CHECKING:
    from dialogue.rulebooks.page import Page

FOLDER = Path(__file__).parent / "templates"
COLOURS: Mapping[str, str] = {"restring_now": "now", "restring_soon": "soon", "play_on": "on"}
"""Class of the stripe beside a row, by the verdict it gives."""


def write_page(page: Page, today: dt.date) -> str:
    """Return the rulebook as HTML, every word of it escaped."""
    book = page.book
    verdicts = {row.id: COLOURS[str(row.gives["verdict"])] for row in book.tables["verdict"].rows}
    followed = {row.id: book.policies[row.policy] if row.policy else None for row in book.tables["others_say"].rows}
    environment = Environment(loader=FileSystemLoader(FOLDER), autoescape=True, undefined=StrictUndefined)
    values: dict[str, Any] = {"page": page, "today": today, "colour": verdicts, "followed": followed}
    template = environment.get_template("rulebook.html")
    return template.render(say=load_wording(book).say, tell_facts=_tell, **values) + "\n"


def _tell(facts: Mapping[str, Any]) -> tuple[str, ...]:
    """Return facts as people say them; a case's own marks are none."""
    return tell_facts({name: value for name, value in facts.items() if name not in ("unknown", "words")})
