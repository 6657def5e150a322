"""Runs the commands inside this process, on a database of their own: faster than a shell, and as they are called."""

from __future__ import annotations

import io
import json
import sys
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from assistant.bootstrap import open_book
from assistant.cli import main
from rules.rulebook import load_book

TODAY = "2026-11-24"


@dataclass(frozen=True)
class Ran:
    """What a command left behind."""

    code: int
    out: str
    err: str

    @property
    def json(self) -> Any:
        """Its one line of JSON."""
        (line,) = self.out.splitlines()
        return json.loads(line)

    @property
    def lines(self) -> list[Any]:
        """All its lines of JSON."""
        return [json.loads(line) for line in self.out.splitlines()]


Shell = Callable[..., Ran]


MAY = "2026-05-04"
MAYA = ("--name", "Maya Okoro", "--phone", "(202) 555-0143", "--level", "recreational", "--plays", "3")
STRUNG = ("--frame", "sound", "--mains", "synthetic_gut", "--tension", "54", "--nickname", "red frame")


def open_shell_in_may(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Shell:
    """Return a shell with a database of its own and no settings of this machine, in May."""
    for name in ("COUNTERPULL_SMTP", "COUNTERPULL_REGION"):
        monkeypatch.delenv(name, raising=False)
    return open_shell(tmp_path, monkeypatch, capsys, today=MAY)


def string_for_maya(shell: Shell) -> str:
    """Return the tag of Maya's racquet, strung and measured; every four months from 4 May on is 4 September."""
    found = str(shell("job", "add", *MAYA, *STRUNG, "--json").json["job"]["tag"])
    assert shell("job", "strung", found).code == 0
    assert shell("reading", found, "38", "--baseline", "--kind", "stiffness").code == 0
    return found


def open_shell(
    tmp_path: Path,
    monkeypatch: pytest.MonkeyPatch,
    capsys: pytest.CaptureFixture[str],
    today: str = TODAY,
) -> Shell:
    """Return a way to run commands on one database; `given` is their standard input, as text or as JSON."""
    monkeypatch.setenv("COUNTERPULL_DB", f"sqlite:///{tmp_path / 'shop.sqlite3'}")
    monkeypatch.delenv("COUNTERPULL_BOOK", raising=False)
    monkeypatch.delenv("COUNTERPULL_WHO", raising=False)

    def run(*words: str, given: Any = "", today: str = today) -> Ran:
        capsys.readouterr()
        # Each command is a process of its own: it has read no rulebook yet.
        open_book.cache_clear()
        load_book.cache_clear()
        text = given if isinstance(given, str) else json.dumps(given)
        monkeypatch.setattr(sys, "stdin", io.TextIOWrapper(io.BytesIO(text.encode()), encoding="utf8"))
        try:
            code = main([*words, "--today", today])
        except SystemExit as ended:
            code = int(ended.code or 0)
        heard = capsys.readouterr()
        return Ran(code, heard.out, heard.err)

    return run
