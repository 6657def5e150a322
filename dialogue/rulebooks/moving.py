"""Whose verdict or date another edition would move, over every racquet on record; switches nothing, words nothing."""

from __future__ import annotations

import datetime as dt
from collections import Counter as Tally
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from typing import Any

from dialogue.counter.outcomes import Outcome
from dialogue.services.on_record import OnRecord
from rules.chain import decide
from rules.comparing import compare_answers
from rules.errors import FactRefused
from rules.evaluator import PlainEngine
from rules.facts import Facts
from rules.intake import parse_facts
from rules.quick import Judge, Judgement
from rules.rulebook import Rulebook
from storage.database import Store
from storage.stock import Strung, count_strung, list_strung

Progress = Callable[[int, int], None]
"""Told how many racquets are done, and of how many."""


@dataclass(frozen=True, kw_only=True)
class Moved(Outcome):
    """One racquet that another edition decides otherwise."""

    tag: str
    customer: str
    racquet: str
    verdict: tuple[str, str]
    """Now, and with the other edition."""
    restring_by: tuple[dt.date | None, dt.date | None]
    lines: tuple[str, ...]
    """What differs and which rows make it, in words."""


@dataclass(frozen=True, kw_only=True)
class Movement(Outcome):
    """What another edition would move."""

    racquets: int
    moved: int
    earlier: int
    """Racquets whose day would be earlier."""
    later: int
    verdicts: Mapping[str, int]
    """How many would go from one verdict to another: "play_on to restring_soon"."""
    unreadable: int
    """Racquets whose facts one of the editions refuses."""
    shown: tuple[Moved, ...]
    """The first of those that move."""


@dataclass
class _Count:
    """What was found so far."""

    racquets: int = 0
    moved: int = 0
    unreadable: int = 0
    days: Tally[str] = field(default_factory=Tally)
    verdicts: Tally[str] = field(default_factory=Tally)

    def add(self, old: Judgement, new: Judgement) -> None:
        """Count one racquet that moves."""
        self.moved += 1
        if old.verdict is not new.verdict:
            self.verdicts[f"{old.verdict} to {new.verdict}"] += 1
        if old.restring_by and new.restring_by and old.restring_by != new.restring_by:
            self.days["earlier" if new.restring_by < old.restring_by else "later"] += 1


@dataclass(frozen=True)
class Editions:
    """The edition that decides now and the one that may come."""

    old: Rulebook
    new: Rulebook


def find_moved(
    store: Store, editions: Editions, today: dt.date, limit: int, progress: Progress = lambda *_: None
) -> Movement:
    """Return which racquets on record would have another verdict or day, the first ones in words.

    Args:
        store: the database.
        editions: the edition that decides now and the one that may come.
        today: the day on which both decide.
        limit: how many of those that move are told in words.
        progress: is told how far it has come.
    """
    count = _Count()
    shown: list[Moved] = []
    judges = Judge(editions.old), Judge(editions.new)
    with store.view() as unit:
        total = count_strung(unit)
        for chunk in list_strung(unit):
            for strung in chunk:
                count.racquets += 1
                found = _judge(strung, editions, judges, today)
                if found is None:
                    count.unreadable += 1
                elif found.judgements[0] != found.judgements[1]:
                    count.add(*found.judgements)
                    if len(shown) < limit:
                        shown.append(_tell(strung, editions, found))
            progress(count.racquets, total)
    return Movement(
        racquets=count.racquets,
        moved=count.moved,
        earlier=count.days["earlier"],
        later=count.days["later"],
        verdicts=dict(count.verdicts),
        unreadable=count.unreadable,
        shown=tuple(shown),
    )


@dataclass(frozen=True)
class _Judged:
    """One racquet's facts and what both editions make of them."""

    facts: tuple[Facts, Facts]
    judgements: tuple[Judgement, Judgement]


def _judge(strung: Strung, editions: Editions, judges: tuple[Judge, Judge], today: dt.date) -> _Judged | None:
    raw = read_strung(strung, today)
    try:
        facts = parse_facts(raw, today=today, limits=editions.old.limits)
        alike = editions.new.limits == editions.old.limits
        others = facts if alike else parse_facts(raw, today=today, limits=editions.new.limits)
    except FactRefused:
        return None
    return _Judged((facts, others), (judges[0].judge(facts), judges[1].judge(others)))


def read_strung(strung: Strung, today: dt.date) -> dict[str, Any]:
    """Return what is on record of a racquet as facts JSON, the first season since stringing included."""
    record = OnRecord(strung.customer, strung.racquet, strung.job, strung.readings, strung.said, strung.said_on)
    raw = record.facts(today)
    since = strung.job.strung_on or today
    season = next((day for day in strung.seasons if day >= since), None)
    if season:
        raw["league_start"] = season.isoformat()
    return raw


def _tell(strung: Strung, editions: Editions, judged: _Judged) -> Moved:
    old, new = (
        decide(facts, book, PlainEngine())
        for facts, book in zip(judged.facts, (editions.old, editions.new), strict=True)
    )
    return Moved(
        tag=strung.job.tag,
        customer=strung.customer.name if strung.customer else "",
        racquet=strung.racquet.nickname or "",
        verdict=(old.verdict.value, new.verdict.value),
        restring_by=(old.restring_by, new.restring_by),
        lines=compare_answers(old, new, editions.new).lines,
    )


__all__ = ["Editions", "Moved", "Movement", "find_moved", "read_strung"]
