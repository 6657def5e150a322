"""Switching to another rulebook is one entry: dated, kept with its content, taken back."""

from __future__ import annotations

import datetime as dt
import json
from pathlib import Path
from typing import Any

import pytest

from dialogue.rulebooks.checking import check_book, list_changes
from dialogue.rulebooks.editions import Shelf, read_content
from dialogue.rulebooks.folders import read_folder, write_folder
from dialogue.rulebooks.trial import try_book
from rules.rulebook import Rulebook, load_book
from storage.database import open_store
from storage.editions import KEY, read_edition
from storage.errors import StoreUnusable
from tests.dialogue.rulebooks.conftest import TODAY
from tests.rules.editions import edit_book

DAY = dt.timedelta(days=1)


def other_book(months: int = 2) -> Rulebook:
    """Return an edition with another interval of competitive polyester."""

    def change(content: dict[str, Any]) -> None:
        content["values.yaml"]["values"]["competitive_polyester_months"]["value"] = months

    return edit_book(change)


def test_a_switch_holds_from_its_day_on(shelf: Shelf) -> None:
    """Entered for the first of December: until then the rulebook that comes along decides."""
    first = dt.date(2026, 12, 1)
    shelf.use(other_book(), first)
    assert shelf.in_use(first - DAY) == load_book().hash
    assert shelf.in_use(first) == shelf.in_use(first + 30 * DAY) == other_book().hash


def test_the_last_switch_entered_counts_and_is_taken_back(shelf: Shelf) -> None:
    """Two switches, taken back one by one; then there is none to take back."""
    shelf.use(other_book(2), TODAY)
    shelf.use(other_book(3), TODAY)
    assert shelf.in_use(TODAY) == other_book(3).hash
    undone = shelf.undo()
    assert undone
    assert (undone.rulebook, undone.who, undone.since) == (other_book(3).hash, "ida", TODAY)
    assert shelf.in_use(TODAY) == other_book(2).hash
    assert shelf.undo()
    assert shelf.in_use(TODAY) == load_book().hash
    assert shelf.undo() is None


def test_every_switch_stays_in_the_audit_trail(shelf: Shelf) -> None:
    """Who switched, and who took it back, is on record though the switch itself is gone."""
    shelf.use(other_book(), TODAY)
    shelf.undo()
    with shelf.store.view() as unit:
        trail = unit.trail.of("setting", KEY)
    assert [(entry.who, entry.action) for entry in trail] == [("ida", "create"), ("ida", "update")]


def test_the_list_names_every_edition(shelf: Shelf) -> None:
    """Ours, the shop's own, which is in use, since when and how many decisions each took."""
    shelf.use(other_book(), TODAY)
    listed = shelf.list(TODAY)
    assert [(one.rulebook, one.ours, one.in_use, one.decided) for one in listed.editions] == [
        (load_book().hash, True, False, 0),
        (other_book().hash, False, True, 0),
    ]
    json.dumps(listed.to_dict())


def test_an_edition_comes_back_with_its_comments(shelf: Shelf, tmp_path: Path) -> None:
    """What the shop wrote beside its rows is handed back when the rulebook is copied again."""
    write_folder(tmp_path / "first", load_book(), None)
    own = tmp_path / "first" / "own.yaml"
    own.write_text(
        own.read_text(encoding="utf8").replace("\n#  ", "\n  ") + "# asked for by the club\n", encoding="utf8"
    )
    book, texts = read_folder(tmp_path / "first")
    shelf.use(book, TODAY, texts)
    write_folder(tmp_path / "second", shelf.open(book.hash), shelf.texts(book.hash))
    assert "# asked for by the club" in (tmp_path / "second" / "own.yaml").read_text(encoding="utf8")
    assert read_folder(tmp_path / "second")[0].hash == book.hash


def test_an_edition_without_kept_files_is_written_anew(tmp_path: Path) -> None:
    """Only its content is known: the files hold all of it."""
    write_folder(tmp_path / "book", other_book(), None)
    assert read_folder(tmp_path / "book")[0].hash == other_book().hash


def test_the_edition_in_use_is_read_from_a_file_without_opening_it(tmp_path: Path) -> None:
    """As a switch of today is, so is the answer; a file that is not there is not made."""
    path = tmp_path / "shop.sqlite3"
    url = f"sqlite:///{path}"
    assert read_edition(url, TODAY) is None
    assert not path.exists()
    with open_store(url) as store:
        Shelf(store, load_book(), "ida").use(other_book(), TODAY)
    stored = read_edition(url, TODAY)
    assert stored
    assert read_content(stored.content) == other_book()
    assert read_edition(url, TODAY - DAY) is None


def test_a_file_that_is_no_database_is_named(tmp_path: Path) -> None:
    """The shop's rulebook may be in it, so nothing else is used in its place."""
    path = tmp_path / "notes.sqlite3"
    path.write_text("milk, eggs, strings\n" * 100, encoding="utf8")
    with pytest.raises(StoreUnusable):
        read_edition(f"sqlite:///{path}", TODAY)


def test_another_kind_of_address_is_opened_in_full(tmp_path: Path) -> None:
    """An address with options is read by the database's own library."""
    url = f"sqlite:///{tmp_path / 'shop.sqlite3'}?timeout=9"
    with open_store(url) as store:
        Shelf(store, load_book(), "ida").use(other_book(), TODAY)
    stored = read_edition(url, TODAY)
    assert stored
    assert stored.hash == other_book().hash
    assert read_edition("sqlite://", TODAY) is None


def test_a_good_rulebook_has_nothing_to_report() -> None:
    """No problem and no remark; every worked situation is decided as worked out."""
    report = check_book(load_book())
    assert report.problems == report.remarks == ()
    assert report.trial.tried == report.trial.as_worked_out > 150
    assert report.rows > 90


def test_gaps_and_rows_that_never_count_are_problems_and_idle_numbers_are_remarks() -> None:
    """Each names its table and row; of many gaps a few are named."""

    def spoil(content: dict[str, Any]) -> None:
        chart = next(table for table in content["interval.yaml"]["tables"] if table["table"] == "interval")
        chart["rows"] = [row for row in chart["rows"] if row["id"] != "match-polyester"]
        bed = content["interval.yaml"]["tables"][0]["rows"][3]
        bed["when"]["hybrid"] = True
        content["values.yaml"]["values"]["idle_months"] = {"value": 3, "unit": "month", "source": "house"}

    report = check_book(edit_book(spoil))
    assert any("interval: no row answers level competitive, stringbed polyester" in text for text in report.problems)
    assert any("nothing makes bed-polyester fire" in text for text in report.problems)
    assert "values.yaml: idle_months: no row uses this number" in report.remarks


def test_an_engine_that_hangs_or_dies_is_a_problem_not_an_end(monkeypatch: pytest.MonkeyPatch) -> None:
    """The trial is a process of its own: too slow, or gone, it is one sentence."""
    assert "did not answer within" in try_book(load_book(), longest=0.001).problem
    monkeypatch.setattr("sys.executable", "/bin/false")
    assert "ended with 1" in try_book(load_book()).problem


def test_what_stands_otherwise_is_told() -> None:
    """Numbers, rows, switches, ranges and words of another edition."""

    def change(content: dict[str, Any]) -> None:
        values = content["values.yaml"]
        values["values"]["soon_days"]["value"] = 10
        values["policies"]["twice_a_year"]["enabled"] = True
        values["limits"]["plays_per_week"]["high"] = 14
        values["approximate_days"]["strung_on"]["day"] = "first"
        content["words.yaml"]["terms"]["polyester"] = "poly"
        rows = content["cautions.yaml"]["tables"][0]["rows"]
        rows[:] = [row for row in rows if row["id"] != "caution-tension-low"]

    lines = list_changes(load_book(), edit_book(change))
    assert lines == (
        f"Gone: {load_book().row('caution-tension-low').says}  [caution-tension-low]",
        'How near a date is "soon": 14 days before, ten days now.  [soon_days]',
        "Published advice is followed now: at least twice a year, whoever plays.  [twice_a_year]",
        "What is taken for how often it is played: 0 to 21 before, 0 to 14 now.  [plays_per_week]",
        "Of an inexact day, for the day it was strung, the first one counts, not the middle.  [strung_on]",
        "The words of the rulebook's sentences differ.",
    )
