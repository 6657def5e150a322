"""From words to meaning: what a person wants and which facts were said; knows neither rules nor storage."""

from __future__ import annotations

import datetime as dt
import threading
from collections.abc import Sequence
from functools import lru_cache

from dialogue.messages import Understanding
from dialogue.understanding.understander import Turn, Understander
from dialogue.understanding.validate import validate

__all__ = ["Turn", "Understander", "prepare", "understand", "validate"]

_loading = threading.Lock()


@lru_cache(maxsize=1)
def _loaded() -> Understander:
    return Understander()


def prepare() -> None:
    """Load the language whole, so that no turn waits for any of it; without this a turn loads what it needs."""
    with _loading:
        understander = _loaded()
    understander.prepare()


def understand(  # noqa: PLR0913 - the turn, and what was known of it
    text: str,
    *,
    asked: str | None = None,
    channel: str = "typed",
    today: dt.date,
    explain: bool = False,
    names: Sequence[str] = (),
) -> Understanding:
    """Return what a turn means: its intent, the values in it and the evidence for both.

    `asked` is the slot just asked about, "confirm" after a read-back, or None; `names` are customers on record;
    with `explain` the result says stage by stage what was seen.
    """
    with _loading:
        understander = _loaded()
    return understander.understand(text, Turn(today, asked, channel, tuple(names), explain))
