"""A stringer's whole day and the months after it, from drop-off to erasure, with every figure checked."""

from __future__ import annotations

import io
import re
from pathlib import Path

import pytest

from assistant.cli import COMMANDS
from tests.assistant.day import begin_day, read_script


def test_the_day_runs_as_it_is_written(tmp_path: Path) -> None:
    """Five drop-offs, strung, read, labelled, fetched, back after four months, reminded, planned, erased."""
    shown = io.StringIO()
    with begin_day(tmp_path, shown) as day:
        for step in read_script():
            day.play(step)
        letters = day.letterbox.letters
    assert {letter["To"] for letter in letters} == {"maya@example.org", "sam@example.org"}
    assert len({letter["Message-ID"] for letter in letters}) == len(letters) == 3
    page = (tmp_path / "ines.html").read_text(encoding="utf-8")
    assert "Ines Marlow" in page
    assert not re.search(r"<script|https?://", page)
    assert not any("Ines" in path.read_text("latin-1") for path in tmp_path.glob("day.sqlite3*"))


def test_the_day_reaches_every_command_of_the_counter() -> None:
    """No command of the counter is left out of the day, but for restoring and staff, which have tests of their own."""
    used = {step["run"].split()[0] for step in read_script() if "run" in step}
    counter = {"job", "reading", "label", "pickup", "due", "league", "remind", "import", "export", "erase", "backup"}
    assert counter <= used
    assert used <= set(COMMANDS)


@pytest.mark.parametrize("part", ["run", "tell"])
def test_every_step_says_something(part: str) -> None:
    """A step either tells or runs."""
    assert all("run" in step or "tell" in step for step in read_script())
    assert sum(part in step for step in read_script()) > 5
