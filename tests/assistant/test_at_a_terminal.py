"""What somebody sees who sits at a terminal: the talk with its history, the bar of a long import."""

from __future__ import annotations

import os
import pty
import subprocess
import sys
import threading
from collections.abc import Callable
from pathlib import Path

import pytest
from prompt_toolkit.application import create_app_session
from prompt_toolkit.input import create_pipe_input
from prompt_toolkit.output import DummyOutput

from assistant.bootstrap import open_book
from assistant.cli import main
from rules.rulebook import load_book
from tests.assistant.command import ROOT

Type = Callable[[str], list[str]]
UP, END_OF_INPUT, BREAK = "\x1b[A", "\x04", "\x03"


@pytest.fixture
def type_keys(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Type:
    """A way to talk at a terminal by its keys; returns the lines that stand on the screen afterwards."""
    monkeypatch.setenv("COUNTERPULL_DB", f"sqlite:///{tmp_path / 'shop.sqlite3'}")
    monkeypatch.setenv("XDG_STATE_HOME", str(tmp_path / "state"))
    monkeypatch.setenv("COLUMNS", "400")

    def type_all(keys: str) -> list[str]:
        open_book.cache_clear()
        load_book.cache_clear()
        with create_pipe_input() as given, create_app_session(input=given, output=DummyOutput()):
            given.send_text(keys)
            monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
            assert main(["talk", "--today", "2026-11-24"]) == 0
        return [line.rstrip() for line in capsys.readouterr().out.splitlines()]

    return type_all


def test_a_consultation_at_a_terminal(type_keys: Type) -> None:
    """Opening words, each answer with its choices below, and the verdict; the end of input ends it without a word."""
    seen = type_keys("just for fun, twice a week, full bed of synthetic gut\rstrung on 1 september\r" + END_OF_INPUT)
    opening, level, choices, *_ = seen
    assert opening.startswith("  Hello!")
    assert level.endswith("or just for fun?")
    assert choices == "  Just for fun   League or tournaments"
    # Twice a week for fun is two restrings a year: six months after 1 September 2026.
    assert "  Strung on 1 September 2026: noted. Play on until 1 March 2027." in seen
    assert seen[-2:] == ["  Why?   Yes   No", ""]


def test_what_was_typed_can_be_had_again_in_the_next_talk(type_keys: Type, tmp_path: Path) -> None:
    """The arrow up brings the last line of the talk before; the file is for nobody else to read."""
    type_keys("just for fun\r" + BREAK)
    history = tmp_path / "state" / "counterpull" / "history"
    assert "+just for fun" in history.read_text("utf-8").splitlines()
    assert history.parent.stat().st_mode & 0o077 == 0
    type_keys(UP + ", twice a week\r" + END_OF_INPUT)
    assert "+just for fun, twice a week" in history.read_text("utf-8").splitlines()


def test_a_talk_goes_on_where_no_history_can_be_kept(type_keys: Type, tmp_path: Path) -> None:
    """A full or foreign folder costs the history, not the talk."""
    (tmp_path / "state").write_text("a file where a folder should be")
    seen = type_keys("just for fun\r" + END_OF_INPUT)
    assert "  For fun, thanks. What string is in the mains, the lengthwise ones?" in seen


def test_saying_goodbye_ends_the_talk(type_keys: Type) -> None:
    """No key is needed after it."""
    seen = type_keys("goodbye\r")
    assert seen[-2:] == ["  We leave it there. Come back whenever you like.", ""]


def test_a_long_import_shows_how_far_it_is(tmp_path: Path) -> None:
    """Only where somebody looks: at a terminal a bar, taken away at the end; the answer itself stays in words."""
    people = tmp_path / "people.csv"
    people.write_text("name\n" + "".join(f"Customer {number}\n" for number in range(120)), encoding="utf-8")
    ours, theirs = pty.openpty()
    drawn: list[bytes] = []

    def watch() -> None:
        try:
            while piece := os.read(ours, 4096):
                drawn.append(piece)
        except OSError:
            return  # the other end is closed

    watching = threading.Thread(target=watch)
    watching.start()
    words = ("import", "customers", str(people), "--db", f"sqlite:///{tmp_path / 'shop.sqlite3'}")
    done = subprocess.run(
        [sys.executable, "-m", "assistant", *words],
        stdout=subprocess.PIPE,
        stderr=theirs,
        cwd=ROOT,
        env={**os.environ, "TERM": "xterm", "COLUMNS": "80"},
        check=False,
        timeout=120,
    )
    os.close(theirs)
    watching.join()
    os.close(ours)
    screen = b"".join(drawn).decode()
    assert done.returncode == 0, screen
    assert done.stdout.decode() == "120 lines: 120 added, 0 changed, 0 known already, 0 left out.\n"
    assert "taking in" in screen
    assert "120/120" in screen
