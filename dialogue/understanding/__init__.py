"""From words to meaning: what a person wants and which facts were said; knows neither rules nor storage."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from functools import lru_cache

from dialogue.messages import Understanding
from dialogue.understanding.understander import Understander

__all__ = ["Understander", "understand"]


@lru_cache(maxsize=1)
def _loaded() -> Understander:
    return Understander()


def understand(  # noqa: PLR0913 - the turn, and what was known of it
    text: str,
    *,
    asked: str | None = None,
    channel: str = "typed",
    today: dt.date,
    explain: bool = False,
    names: Sequence[str] = (),
) -> Understanding:
    """Return what a turn means: its intent, the values in it and the evidence for both."""
    return _loaded().understand(text, asked, channel, today, names)
