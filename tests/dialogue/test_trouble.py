"""A database that cannot be written in the middle of a talk: it says what to do, and the talk goes on afterwards."""

from __future__ import annotations

import datetime as dt
import sqlite3
from collections.abc import Iterator
from contextlib import closing
from pathlib import Path

import pytest

from assistant.channels.web.public import PublicServices, open_public_conversation
from dialogue.conversation import Conversation
from dialogue.messages import Message, Reply
from dialogue.services import Services
from dialogue.understanding import understand
from rules.rulebook import load_book
from storage import database
from storage.database import Store, open_store

TODAY = dt.date(2026, 11, 25)


@pytest.fixture
def path(tmp_path: Path) -> Path:
    """Where the database lies."""
    return tmp_path / "shop.sqlite3"


@pytest.fixture
def store(path: Path, monkeypatch: pytest.MonkeyPatch) -> Iterator[Store]:
    """An open file; a writer waits only a moment for another one."""
    monkeypatch.setattr(database, "BUSY_MS", 50)
    with open_store(f"sqlite:///{path}") as opened:
        yield opened


def say(talk: Conversation, text: str) -> Reply:
    """Take a turn."""
    return talk.handle(Message(text, "s", today=TODAY))[-1]


def fill_disk(store: Store, *, full: bool) -> None:
    """Let the database grow no further, as on a disk without room, or let it grow again."""
    with store.engine.connect() as connection:
        pages = connection.exec_driver_sql("PRAGMA page_count").scalar() if full else 2**30
        connection.exec_driver_sql(f"PRAGMA max_page_count = {pages}")


def test_a_full_disk_is_named_and_nothing_said_before_is_lost(store: Store) -> None:
    """The words of the turn that found no room are long; the next turn has room again."""
    talk = Conversation(Services(store, load_book()), understand, strict=True)
    say(talk, "when should I restring? just for fun, twice a week")
    fill_disk(store, full=True)
    refused = say(talk, f"synthetic gut {'and so on ' * 4000}")
    assert "has no room left; free some disk space" in refused.text[0]
    assert "shop.sqlite3" not in refused.speech
    fill_disk(store, full=False)
    say(talk, "full bed of synthetic gut")
    done = say(talk, "strung on the 1st of November 2026")
    assert done.decision
    assert done.decision["every"] == "every six months"


def test_a_database_another_program_holds_is_named(store: Store, path: Path) -> None:
    """And taken up again when that program lets go."""
    talk = Conversation(Services(store, load_book()), understand, strict=True)
    say(talk, "when should I restring? just for fun")
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        assert "is being written by another program" in say(talk, "twice a week").text[0]
    assert say(talk, "twice a week").facts["plays_per_week"] == 2


def test_a_kiosk_tells_nobody_where_the_data_lies(store: Store, path: Path) -> None:
    """A customer can do nothing about it but ask at the counter."""
    talk = open_public_conversation(PublicServices(store, load_book()), understand)
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        reply = say(talk, "when should I restring?")
    assert "turn to somebody at the counter" in reply.text[0]
    assert "sqlite" not in reply.text[0]


def test_a_clock_that_was_set_back_breaks_no_talk(store: Store) -> None:
    """Days already said may lie ahead then: the talk asks or answers, and never falls over."""
    talk = Conversation(Services(store, load_book()), understand, strict=True)
    say(talk, "when should I restring? just for fun, twice a week, synthetic gut, strung on the 1st of November 2026")
    for text in ("and now?", "why?", "it reads 50, fresh it was 62 on the deflection meter", "start over"):
        reply = talk.handle(Message(text, "s", today=dt.date(2026, 10, 1)))[-1]
        assert any(reply.text)
