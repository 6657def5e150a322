"""The invented club fills an empty database and leaves a used one alone."""

from __future__ import annotations

import re
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


def test_the_demo_says_how_to_get_onto_its_board(tmp_path: Path) -> None:
    """A name and a PIN that fits, drawn anew for each demo and told once."""
    pins = set()
    for number in range(2):
        db = f"sqlite:///{tmp_path}/demo{number}.sqlite3"
        said = run("demo", "--db", db, "--today", TODAY).stdout
        assert f"counterpull serve --db {db}" in said
        found = re.search(r"you are (.+), PIN (\d{6})\.", said)
        assert found
        pins.add(found[2])
        assert run("staff", "verify", found[1], "--db", db, given=found[2]).returncode == 0
        assert found[2] not in run("demo", "--db", db, "--today", TODAY).stdout
    assert len(pins) == 2


def test_the_demo_never_goes_into_the_shops_own_database() -> None:
    """Without a database named it is refused."""
    done = run("demo", env={"COUNTERPULL_DB": ""})
    assert done.returncode == 2
    assert "--db" in done.stderr
