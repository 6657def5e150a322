"""What a shop wants done where a forecast parts from the chart stands in its rulebook."""

from __future__ import annotations

from typing import Any

import pytest

from rules.comparing import compare_editions
from rules.coverage import find_unused
from rules.rulebook import load_book
from tests.rules.editions import edit_book


@pytest.mark.parametrize("handling", ["silent", "tell", "offer"])
def test_a_shop_says_what_is_done(handling: str) -> None:
    """Each handling is read, has its own hash, and its source counts as used."""

    def change(content: dict[str, Any]) -> None:
        content["values.yaml"]["forecast"]["beside_the_chart"]["handling"] = handling

    book = edit_book(change)
    assert book.forecast == handling
    assert find_unused(book) == ()
    assert (book.hash == load_book().hash) == (load_book().forecast == handling)


def test_an_edition_from_before_there_were_forecasts_is_read_as_ever() -> None:
    """Without the line a forecast is told and moves nothing; what differs to today's edition is told."""
    older = edit_book(lambda content: content["values.yaml"].pop("forecast"))
    assert older.forecast == "tell"
    lines = compare_editions(older, load_book()).lines
    assert any(line.startswith("A forecast that parts from the chart: tell before, offer now.") for line in lines)
