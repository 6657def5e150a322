"""When a row of the rulebook comes again: spaced repetition by the FSRS library; knows no exercise and no database."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from fsrs import Card, Rating, Scheduler

RETENTION = 0.9
"""How sure a row should still be known when it comes again; the library's own default."""
_SCHEDULER = Scheduler(desired_retention=RETENTION, enable_fuzzing=False)
"""Without fuzzing the same answers give the same days, whoever counts them."""


@dataclass(frozen=True)
class Planned:
    """A row's card after an answer."""

    state: Mapping[str, Any]
    """What the library keeps, as JSON."""
    due_at: dt.datetime


def plan_next(state: Mapping[str, Any] | None, at: dt.datetime, *, known: bool) -> Planned:
    """Return the card of a row after it was answered.

    Args:
        state: the card as it was kept; None for a row that was never practised.
        at: the moment of the answer, in UTC.
        known: whether every part that rests on the row was right.
    """
    card = Card(card_id=1, due=at) if state is None else Card.from_dict(dict(state))  # type: ignore[arg-type] # its own form
    card, _ = _SCHEDULER.review_card(card, Rating.Good if known else Rating.Again, at)
    return Planned(dict(card.to_dict()), card.due)


def recall_of(state: Mapping[str, Any], at: dt.datetime) -> float:
    """Return how likely a row is still known, from 0 to 1."""
    card = Card.from_dict(dict(state))  # type: ignore[arg-type] # its own form
    return float(_SCHEDULER.get_card_retrievability(card, at))
