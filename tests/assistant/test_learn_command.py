"""`learn`: what the shop's stringings teach, shown in words and JSON, and said where it cannot be used."""

from __future__ import annotations

import json
import re
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from tests.assistant.in_process import Shell, open_shell


@pytest.fixture
def shell(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Shell:
    """A shell with the invented club on record."""
    opened = open_shell(tmp_path, monkeypatch, capsys)
    assert opened("demo").code == 0
    return opened


def test_a_shop_learns_shows_and_forgets(shell: Shell) -> None:
    """Every kind of strings that was measured stands on a line, beside what the book alone says."""
    assert "book alone" in shell("learn", "--show").out
    learnt = shell("learn", "--json").json
    assert learnt["learnt_on"] == "2026-11-24"
    assert learnt["jobs"] == sum(one["jobs"] for one in learnt["strings"]) > 0
    assert learnt["prior"]["jobs"] == learnt["jobs"]
    told = shell("learn").out
    assert f"from {learnt['jobs']} stringings of this shop" in told
    figures = [tuple(map(int, pair)) for pair in re.findall(r"about (-?\d+) % is lost.+?book alone: (-?\d+) %", told)]
    assert len(figures) == len(learnt["strings"])
    for (expected, book), one in zip(figures, learnt["strings"], strict=True):
        assert expected == pytest.approx(one["loss_percent"]["expected"], abs=0.51)
        assert book == pytest.approx(one["book_loss_percent"]["expected"], abs=0.51)
    assert shell("learn", "--show", "--json").json == learnt
    assert shell("check", "--json").json["learnt"].startswith("2026-11-24, ")
    assert shell("learn", "--forget", "--json").json == {"forgotten": True}
    assert shell("learn", "--forget", "--json").json == {"forgotten": False}
    assert shell("learn", "--show", "--json").json["prior"] is None


def test_damaged_figures_are_named_and_the_book_is_used(shell: Shell, tmp_path: Path) -> None:
    """`learn --show` and `check` say what is wrong and what to do; learning again mends it."""
    assert shell("learn").code == 0
    with closing(sqlite3.connect(tmp_path / "shop.sqlite3")) as connection, connection:
        broken = json.dumps({"form": 1, "prior": {"learnt_on": "2026-11-24", "populations": [{}]}})
        connection.execute("UPDATE setting SET value = ? WHERE key = 'forecast_prior'", (broken,))
    for command in (("learn", "--show"), ("check",)):
        ran = shell(*command)
        assert ran.code == 0
        assert "is damaged and is not used" in ran.out
        assert "Learn again: counterpull learn" in ran.out
    assert shell("learn").code == 0
    assert "is damaged and" not in shell("check").out


def test_an_empty_shop_is_told_what_it_takes(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    """Nothing is kept, and the sentence says what to measure."""
    empty = open_shell(tmp_path, monkeypatch, capsys)
    ran = empty("learn")
    assert ran.code == 0
    assert "a baseline and a later reading" in ran.out
    assert empty("learn", "--show", "--json").json["jobs"] == 0
