"""What would change it: each change truly turns the answer when decided again, and nothing nearer does."""

from __future__ import annotations

import datetime as dt
import math
from collections.abc import Iterator
from fractions import Fraction
from typing import Any

import pytest
from hypothesis import given, settings

from rules.casebook import Case, load_cases
from rules.chain import decide
from rules.decision import Decision
from rules.evaluator import PlainEngine
from rules.explain_words import load_grid
from rules.facts import Facts
from rules.intake import parse_facts
from rules.quick import Judge, Judgement
from rules.rulebook import Rulebook, load_book
from rules.turning import Part, Turn, find_turns, search_turns
from tests.rules.editions import switch_on
from tests.rules.wording import names_rows, said_in_words
from tests.strategies import facts

CASES = load_cases()
each_case = pytest.mark.parametrize("case", CASES, ids=[f"{case.file}: {case.name}" for case in CASES])
PLAIN = PlainEngine()
DAYS = ("strung_on", "label_due", "league_start")


def changed(known: Facts, fact: str, value: Any, book: Rulebook) -> Facts:
    """Return the facts with one of them changed, by way of the JSON that other programs use."""
    raw = known.to_dict()
    today = known.today
    if fact == "today":
        readings = raw.get("reading", [])
        for reading in [readings] if isinstance(readings, dict) else readings:
            reading.setdefault("taken_on", today.isoformat())
        # A month said alone stands for another day once it has passed; the day it stood for is kept.
        raw |= {name: _about(getattr(known, name).day) for name in DAYS if isinstance(raw.get(name), dict)}
        today = dt.date.fromisoformat(value)
    else:
        raw[fact] = value
    sides = {"mains_material": "crosses_material", "crosses_material": "mains_material"}
    if known.hybrid is False and fact in sides:
        raw[sides[fact]] = value
    raw["unknown"] = [name for name in raw.get("unknown", []) if name != fact]
    return parse_facts(raw, today=today, limits=book.limits)


def _about(day: dt.date) -> dict[str, Any]:
    return {"value": day.isoformat(), "approx": True}


def nearer(known: Facts, turn: Turn, book: Rulebook) -> Iterator[Any]:
    """Yield every value of the fact's grid that lies nearer than the change, worked out anew."""
    if turn.fact == "plays_per_week" and turn.old is not None:
        yield from nearer_plays(turn)
    elif turn.fact in DAYS and turn.old is not None:
        old, new = getattr(known, turn.fact).day, getattr(turn.facts, turn.fact).day
        for away in range(1, abs((new - old).days)):
            for day in (old - dt.timedelta(days=away), old + dt.timedelta(days=away)):
                if turn.fact != "strung_on" or day <= known.today:
                    yield _about(day) if isinstance(turn.old, dict) else day.isoformat()
    elif turn.fact == "today":
        span = (dt.date.fromisoformat(turn.new) - known.today).days
        yield from ((known.today + dt.timedelta(days=away)).isoformat() for away in range(1, span))
    elif turn.fact in ("reading", "baseline") and turn.old is not None:
        yield from nearer_readings(turn, book)


def nearer_plays(turn: Turn) -> Iterator[Any]:
    """Yield plays a week in halves that are nearer than the change; a range moves as a whole."""
    if not isinstance(turn.old, dict):
        steps = [number / 2 for number in range(43)]
        yield from (value for value in steps if value != turn.old and abs(value - turn.old) < abs(turn.new - turn.old))
        return
    low, high = turn.old["min"], turn.old["max"]
    for steps in range(1, round(abs(turn.new["min"] - low) * 2)):
        for way in (-steps / 2, steps / 2):
            if low + way >= 0 and high + way <= 21:
                yield {"min": low + way, "max": high + way}


def nearer_readings(turn: Turn, book: Rulebook) -> Iterator[Any]:
    """Yield the readings with another figure for one of them, as long as it is nearer than the change found."""
    alone = isinstance(turn.old, dict)
    old, new = ([turn.old], [turn.new]) if alone else (turn.old, turn.new)
    (moved,) = [index for index, pair in enumerate(zip(old, new, strict=True)) if pair[0] != pair[1]]
    for index, reading in enumerate(old):
        kind = reading["kind"] or "unnamed"
        step = Fraction(str(load_grid()[kind].step))
        mean = mean_of(reading)
        # Of two readings with scales of their own the steps are compared; of one the distance itself.
        reach = abs(mean_of(new[index]) - mean) if index == moved else step * (turn.steps - 1)
        low, high = (Fraction(str(end)) for end in book.limits.ranges[reading["kind"] or "unnamed_reading"])
        for number in range(max(int((mean - reach) / step), math.ceil(low / step)), int(high / step) + 1):
            value = number * step
            if value > mean + reach:
                break
            if value == mean or (abs(value - mean) >= reach and index == moved):
                continue
            if turn.fact == "reading" or value > 0:
                changed = {key: kept for key, kept in reading.items() if key != "values"} | {"value": float(value)}
                yield changed if alone else [*old[:index], changed, *old[index + 1 :]]


def mean_of(reading: dict[str, Any]) -> Fraction:
    """Return the mean of a reading's figures, exactly."""
    figures = [Fraction(str(figure)) for figure in reading.get("values") or [reading["value"]]]
    return sum(figures, Fraction(0)) / len(figures)


@each_case
def test_the_smallest_change_turns_the_verdict_and_nothing_nearer_does(case: Case) -> None:
    """Decided again from JSON, the change gives another verdict; each nearer value of its grid gives the old one."""
    book = switch_on(*case.policies)
    known = case.read_facts(book)
    before, quick = decide(known, book, PLAIN), Judge(book)
    turns = find_turns(known, book)
    assert turns, "a broken string alone turns every verdict but its own"
    for turn in turns:
        again = decide(changed(known, turn.fact, turn.new, book), book, PLAIN)
        assert Judgement.of(again) == Judgement.of(turn.decision)
        assert turn.decision.verdict is not before.verdict
        assert said_in_words(turn.line, book), turn.line
        assert not names_rows(turn.line, book), turn.line
        for value in nearer(known, turn, book):
            assert quick.judge(changed(known, turn.fact, value, book)).verdict is before.verdict, (turn.fact, value)
    assert list(turns) == sorted(turns, key=lambda turn: (not turn.unit, turn.steps))
    assert len({turn.fact for turn in turns}) == len(turns)


@each_case
def test_the_smallest_change_moves_the_day_and_nothing_nearer_does(case: Case) -> None:
    """Asked for the date, each change gives another day or window; each nearer value of its grid the old ones."""
    book = switch_on(*case.policies)
    known = case.read_facts(book)
    before, quick = decide(known, book, PLAIN), Judge(book)
    for turn in find_turns(known, book, Part.DATE):
        again = decide(changed(known, turn.fact, turn.new, book), book, PLAIN)
        assert Judgement.of(again) == Judgement.of(turn.decision)
        assert (again.restring_by, again.window) != (before.restring_by, before.window)
        assert turn.fact not in ("today", "reading", "baseline", "symptoms")
        for value in nearer(known, turn, book):
            judged = quick.judge(changed(known, turn.fact, value, book))
            assert (judged.restring_by, judged.window) == (before.restring_by, before.window), (turn.fact, value)


def play_on_case() -> Facts:
    """Return a recreational player's facts: three plays a week, strung 10 January, asked on 1 March."""
    return next(case for case in CASES if case.name == "for fun, synthetic gut, three times a week").read_facts(
        load_book()
    )


def test_the_change_is_found_where_arithmetic_puts_it() -> None:
    """Due 10 May, "soon" from 26 April: 56 days on; strung 56 days earlier; or 6 plays a week, due 10 March."""
    turns = {turn.fact: turn for turn in find_turns(play_on_case(), load_book())}
    assert turns["today"].new == "2026-04-26"
    assert turns["today"].steps == (dt.date(2026, 4, 26) - dt.date(2026, 3, 1)).days == 56
    # 12/6 = 2 months from 10 January is 10 March, nine days ahead; at 5.5 it is 16 March, fifteen days ahead.
    assert turns["plays_per_week"].new == 6
    assert turns["plays_per_week"].steps == 6


def test_a_wanted_day_is_searched_for() -> None:
    """Asked what would give 10 July, the search answers with two plays a week."""
    wanted = dt.date(2026, 7, 10)
    turns = {
        turn.fact: turn for turn in search_turns(play_on_case(), load_book(), lambda now: now.restring_by == wanted)
    }
    assert turns["plays_per_week"].new == 2


@given(known=facts())
@settings(max_examples=60, deadline=None)
def test_judging_is_deciding(known: Facts) -> None:
    """Without trail and sentences verdict and dates are the same."""
    book = load_book()
    assert Judge(book).judge(known) == Judgement.of(decide(known, book, PLAIN))


@each_case
def test_judging_again_and_again_is_deciding(case: Case) -> None:
    """What is remembered from other facts never changes an answer."""
    book = switch_on(*case.policies)
    known = case.read_facts(book)
    judge = JUDGES.setdefault(book.hash, Judge(book))
    assert judge.judge(known) == judge.judge(known) == Judgement.of(decide(known, book, PLAIN))


JUDGES: dict[str, Judge] = {}
"""One for each edition, for all cases."""


def test_a_turn_as_json() -> None:
    """For other programs: the fact, both values, how far, and what follows."""
    turn = next(turn for turn in find_turns(play_on_case(), load_book()) if turn.fact == "today")
    assert turn.to_dict() == {
        "fact": "today",
        "old": "2026-03-01",
        "new": "2026-04-26",
        "steps": 56,
        "unit": "day",
        "verdict": "restring_soon",
        "restring_by": "2026-05-10",
        "line": "Asked again on 26 April 2026: restring soon, instead of play on.",
    }
    assert isinstance(turn.decision, Decision)
