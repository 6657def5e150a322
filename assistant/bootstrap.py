"""The wiring: opens the rulebook and the database and hands out the services built on them."""

from __future__ import annotations

import datetime as dt
from functools import lru_cache
from pathlib import Path
from typing import Any

from assistant.exits import CommandError
from assistant.settings import Settings
from rules.chain import decide
from rules.errors import BookError, FactRefused
from rules.intake import parse_facts
from rules.rulebook import BOOK_FOLDER, Rulebook, load_book


@lru_cache(maxsize=4)
def open_book(settings: Settings) -> Rulebook:
    """Return the rulebook of this run.

    Raises:
        CommandError: when the book is broken; names file, row and remedy.
    """
    try:
        return load_book(Path(settings.book) if settings.book else BOOK_FOLDER)
    except BookError as error:
        raise CommandError(f"The rulebook cannot be used. {error}") from error


def decide_facts(raw: Any, settings: Settings) -> dict[str, Any]:
    """Return the decision JSON for facts JSON, or {"error": {fact, value, message}}."""
    book = open_book(settings)
    try:
        facts = parse_facts(raw, today=settings.today, limits=book.limits)
    except FactRefused as refused:
        return {"error": {"fact": refused.fact, "value": refused.value, "message": refused.message}}
    return decide(facts, book).to_dict()


def parse_day(text: str) -> dt.date:
    """Return an ISO day.

    Raises:
        ValueError: when it is none.
    """
    return dt.date.fromisoformat(text)
