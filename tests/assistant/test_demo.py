"""The invented club fills an empty database and leaves a used one alone."""

from __future__ import annotations

from pathlib import Path

from tests.assistant.command import TODAY, lines, run


def test_the_club_fills_an_empty_database_once(tmp_path: Path) -> None:
    """Every racquet goes through the counter's own use cases; a second run adds nothing."""
    db = f"sqlite:///{tmp_path}/demo.sqlite3"
    (first,) = lines(run("demo", "--json", "--db", db, "--today", TODAY))
    (second,) = lines(run("demo", "--json", "--db", db, "--today", TODAY))
    assert first["filled"]
    assert first["customers"] >= 12
    assert first["racquets"] >= 14
    assert second == {"filled": False, "customers": first["customers"]}


def test_the_demo_never_goes_into_the_shops_own_database() -> None:
    """Without a database named it is refused."""
    done = run("demo", env={"COUNTERPULL_DB": ""})
    assert done.returncode == 2
    assert "--db" in done.stderr
