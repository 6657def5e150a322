"""A stringer's whole day and the months after it, from drop-off to erasure, with every figure checked."""

from __future__ import annotations

import io
import re
from pathlib import Path

import pytest

from assistant.cli import COMMANDS
from tests.assistant.day import WAYS, Way, begin_day, read_script


@pytest.mark.parametrize("way", WAYS)
def test_the_day_runs_as_it_is_written(tmp_path: Path, way: Way) -> None:
    """Five drop-offs, strung, read, labelled, fetched, back after four months, reminded, planned, erased."""
    shown = io.StringIO()
    with begin_day(tmp_path, shown, way) as day:
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
    steps = [part for step in read_script() for part in (step, *step.get("shell", ()))]
    used = {step["run"].split()[0] for step in steps if "run" in step}
    counter = {"job", "reading", "label", "pickup", "due", "league", "remind", "import", "export", "erase", "backup"}
    assert counter <= used
    assert used <= set(COMMANDS)


@pytest.mark.parametrize("part", ["run", "tell", "talk"])
def test_every_step_says_something(part: str) -> None:
    """A step tells, runs or talks, and what is done by talk can be done from the shell."""
    assert all({"run", "tell", "talk"} & set(step) for step in read_script())
    assert sum(part in step for step in read_script()) > 5
    assert all(step["shell"] for step in read_script() if "talk" in step)


def test_five_racquets_are_left_by_talk() -> None:
    """Two in one talk, as last time, by a product's name, against the printed range, and with a crack."""
    turns = [turn for step in read_script() for turn in step.get("talk", ())]
    assert sum("keep" in turn for turn in turns) >= 6
    said = " ".join(turn["say"] for turn in turns)
    for part in ("two racquets", "same as last time", "linden classic", "told and wants", "hairline crack", "picks up"):
        assert part in said
