"""A counter that is killed loses nothing it had acknowledged and writes to nobody twice; the short run."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

from storage.database import open_store
from tests.storage.kills import Place, Post, Tally, examine, run_kills


def check_tallies(tallies: list[Tally], times: int) -> None:
    """Nothing lost, and enough was done that something could have been."""
    assert [fault for tally in tallies for fault in tally.faults] == []
    assert sum(tally.kills for tally in tallies) == times
    done = {what for tally in tallies for what, _ in tally.done}
    assert {"taken", "strung", "read", "collected"} <= done


def test_nothing_acknowledged_is_lost_on_sqlite(tmp_path: Path) -> None:
    """Killed at random moments of drop-off, stringing, reading, pickup, reminder, import and backup."""
    check_tallies(run_kills(12, tmp_path), 12)


def test_nothing_acknowledged_is_lost_on_postgresql(tmp_path: Path, postgresql: str) -> None:
    """The same with the rows on a server that several counters share."""
    check_tallies(run_kills(8, tmp_path, postgresql), 8)


def test_the_examiner_sees_what_is_missing(tmp_path: Path) -> None:
    """A job nobody stored and a letter sent twice are both named."""
    place = Place(f"sqlite:///{tmp_path / 'shop.sqlite3'}", tmp_path, "")
    open_store(place.db).close()
    tally, post = Tally(done=[("taken", "7"), ("started", "")]), Post(Counter({"p7@club.example": 2}))
    examine(place, post, tally)
    assert tally.faults == ["taken 7 is there 0 times", "p7@club.example was written to 2 times"]
