"""What is known to kill or hang the rules engine does neither through our wrapper: each in a process of its own."""

from __future__ import annotations

import subprocess
import sys
import textwrap
from pathlib import Path

import pytest

from rules.engine import CATCH_ALL, DurableEngine, choose_engine
from rules.errors import RulesError
from rules.rulebook import load_book

ROOT = Path(__file__).parents[2]
SECONDS = 60
START = """
import datetime as dt
import threading

import psutil

from rules.book_format import MOST_ROWS
from rules.casebook import load_cases
from rules.chain import decide
from rules.engine import MOST_TABLES, DurableEngine
from rules.evaluator import PlainEngine
from rules.facts import Facts
from rules.rulebook import build_book, load_book
from tests.rules.editions import edit_book, find_table

book, engine, plain = load_book(), DurableEngine(most_answers=0), PlainEngine()


def grown_since(before):
    return (psutil.Process().memory_info().rss - before) / 1e6


def memory():
    return psutil.Process().memory_info().rss
"""


def run_alone(script: str) -> str:
    """Return what a script prints, run in a process of its own that must end by itself, in time, without a crash."""
    done = subprocess.run(
        [sys.executable, "-c", START + textwrap.dedent(script)],
        capture_output=True,
        text=True,
        timeout=SECONDS,
        cwd=ROOT,
        check=False,
    )
    assert done.returncode == 0, done.stderr[-2000:]
    return done.stdout.strip()


def test_empty_facts_do_not_kill_it() -> None:
    """The engine crashes on an empty list of facts; nothing known at all is asserted with its own marks."""
    assert (
        run_alone("""
        for table in book.tables:
            assert engine.fire(book, table, {}) == plain.fire(book, table, {}), table
        print(decide(Facts(today=dt.date(2026, 6, 1)), book, engine).verdict)
    """)
        == "need_more"
    )


def test_a_session_in_which_no_row_fires_does_not_kill_it() -> None:
    """Taking down a session in which nothing ever ran crashes the engine; here something always runs."""
    assert (
        run_alone("""
        for _ in range(500):
            assert engine.fire(book, "verdict", {"broken": False, "measured": "none", "date": "none"}) == ()
        print("alive")
    """)
        == "alive"
    )


def test_two_thousand_hostile_decisions_do_not_kill_it() -> None:
    """Words that look like the engine's own, quotes, control characters, numbers at the ends of the scale."""
    assert (
        run_alone("""
        words = ["", "$ex", '{"$nex": {"kind": 1}}', "a" * 10_000, 'he said "no"', "\\\\", "\\x00\\x07\\n",
                 "null", "true", "\\u2028", "\\U0001f3be", "begin", "values", "sid", "%s%n", "'; drop"]
        numbers = [0, -1, 1e-7, -1e-7, 1e300, -1e300, float("inf"), float("-inf"), float("nan"), 10**400, 2**63, True]
        names = ["kind", "loss_percent", "energy_percent", "settling", "estimated", "sid", "id", "entry", "$s", "$and"]
        hostile = [*words, *numbers]
        for turn in range(2000):
            values = {name: hostile[(turn * 7 + place * 11) % len(hostile)] for place, name in enumerate(names)}
            assert engine.fire(book, "reading", values) == plain.fire(book, "reading", values), values
        print("alive")
    """)
        == "alive"
    )


def test_more_sessions_than_it_holds_do_not_stop_it() -> None:
    """The engine holds 1,024 sessions at most; each of ours is taken down at once."""
    assert (
        run_alone("""
        for turn in range(3000):
            engine.fire(book, "notes", {"season_named": bool(turn % 2), "strung_approx": False, "age_unknown": False})
        print("alive")
    """)
        == "alive"
    )


def test_two_threads_at_once_get_their_own_answers() -> None:
    """A kiosk and the board decide at the same time, and no timer thread of the engine's is about."""
    assert (
        run_alone("""
        cases = [case for case in load_cases() if not case.policies][:40]
        expected = [decide(case.read_facts(book), book, plain) for case in cases]
        wrong = []

        def work(order):
            for number in order:
                if decide(cases[number].read_facts(book), book, engine) != expected[number]:
                    wrong.append(number)

        threads = [
            threading.Thread(target=work, args=(order,))
            for order in (list(range(40)) * 4, list(range(39, -1, -1)) * 4, list(range(20, 40)) * 8)
        ]
        for thread in threads:
            thread.start()
        assert threading.active_count() == 4, threading.enumerate()
        for thread in threads:
            thread.join()
        print(wrong)
    """)
        == "[]"
    )


def test_a_table_as_long_as_allowed_does_not_hang_it() -> None:
    """The engine fails when more than 64 rows fire at once and hangs on some 500; our longest table fires whole."""
    done = run_alone("""
        def fill(content):
            table = find_table(content, "reading_quality")
            row = table["rows"][1]
            table["rows"] += [
                {**row, "id": f"repeats-{number}", "when": {"repeats": {"at_least": number}}}
                for number in range(MOST_ROWS - len(table["rows"]))
            ]

        long = edit_book(fill)
        assert len(long.tables["reading_quality"].rows) == MOST_ROWS
        for number in (1, 2, 20, 10_000):
            values = {"too_close": True, "repeats": number, "instruments_apart": True}
            assert engine.fire(long, "reading_quality", values) == plain.fire(long, "reading_quality", values)
        print(len(engine.fire(long, "reading_quality", values)))
    """)
    assert int(done) > 50


def test_many_editions_do_not_fill_the_memory() -> None:
    """A chain of shops replays old decisions by their own editions; only the latest stay loaded."""
    grown = float(
        run_alone("""
        def change(number):
            return edit_book(lambda content: content["values.yaml"]["values"]["soon_days"].update(value=number))

        case = load_cases()[0]
        for number in range(1, 11):
            decide(case.read_facts(book), change(number), engine)
        before = memory()
        for number in range(11, 61):
            decide(case.read_facts(book), change(number), engine)
        assert len(engine._loaded) <= MOST_TABLES
        print(grown_since(before))
    """)
    )
    assert grown < 15, "50 editions kept 58 MB before the oldest were taken down"


def test_a_thousand_decisions_do_not_fill_the_memory() -> None:
    """A year at the counter: less than 10 MB over 20,000 decisions, here a twentieth of them."""
    grown = float(
        run_alone("""
        cases = [case for case in load_cases() if not case.policies][:100]
        known = [case.read_facts(book) for case in cases]
        for facts in known * 2:
            decide(facts, book, engine)
        before = memory()
        for facts in known * 10:
            decide(facts, book, engine)
        print(grown_since(before))
    """)
    )
    assert grown < 0.5


def test_editions_taken_down_can_be_used_again() -> None:
    """An old edition that was taken down is loaded anew, and decides as before."""
    assert (
        run_alone("""
        def change(number):
            return edit_book(lambda content: content["values.yaml"]["values"]["soon_days"].update(value=number))

        editions = [change(number) for number in range(1, 15)]
        facts = load_cases()[0].read_facts(book)
        for _ in range(2):
            for edition in editions:
                assert decide(facts, edition, engine) == decide(facts, edition, plain)
        print("alive")
    """)
        == "alive"
    )


def test_a_failure_inside_the_engine_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """The engine swallows what goes wrong in a row's action; we look, and say it."""

    def break_down(*_: object) -> object:
        def log(_: object) -> None:
            raise ValueError("the ink is out")

        return log

    monkeypatch.setattr("rules.engine._logger", break_down)
    with pytest.raises(RulesError, match="the ink is out"):
        DurableEngine().fire(load_book(), "verdict", {"broken": True})


def test_no_row_can_take_the_place_of_the_catch_all() -> None:
    """A row's id has no underscore, so the row that keeps a session alive cannot be overwritten."""
    assert "_" in CATCH_ALL
    assert all(row.id != CATCH_ALL for table in load_book().tables.values() for row in table.rows)


def test_a_failure_of_the_engine_is_told(monkeypatch: pytest.MonkeyPatch) -> None:
    """Whatever the engine raises becomes one error of ours, and the next decision is sound."""
    engine, book = DurableEngine(), load_book()
    with monkeypatch.context() as patch:
        patch.setattr(engine._host, "get_state", lambda *_: 1 / 0)
        with pytest.raises(RulesError, match="failed in verdict"):
            engine.fire(book, "verdict", {"broken": True})
    assert [row.id for row in engine.fire(book, "verdict", {"broken": True})] == ["verdict-broken"]


def test_durable_is_chosen_where_it_can_be_loaded(monkeypatch: pytest.MonkeyPatch) -> None:
    """Where the engine cannot be built, the plain evaluator stands in."""
    choose_engine.cache_clear()
    assert choose_engine().name == "durable"
    choose_engine.cache_clear()
    monkeypatch.setattr("rules.engine.durable_engine", None)
    assert choose_engine().name == "plain"
    choose_engine.cache_clear()
