"""Every way of naming a day turned into a date value; knows the calendar, not which slot a date is for."""

from __future__ import annotations

from dialogue.understanding.cuebook import Hit
from dialogue.understanding.dated import Dated, Sight
from dialogue.understanding.rough_days import ROUGH_DAYS
from dialogue.understanding.single_days import SINGLE_DAYS

READERS = {**SINGLE_DAYS, **ROUGH_DAYS}
"""A reader for every `reads:` of the date rows."""


def read_date(hit: Hit, sight: Sight) -> Dated | None:
    """Return the value of a date expression, or None when it names no date after all."""
    return READERS[hit.row.reads or ""](hit, sight)
