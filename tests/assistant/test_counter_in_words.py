"""What the counter's commands say in plain words, to somebody who reads the screen and no JSON."""

from __future__ import annotations

import csv
import datetime as dt
import io
from pathlib import Path

import icalendar
import pytest

from tests.assistant.in_process import MAY, STRUNG, Shell

AUGUST = "2026-08-04"
LEAGUE = "Hollow Winter League"


def test_a_customer_is_taken_down_found_and_changed(shell: Shell, tag: str) -> None:
    """Each answer is a line with number, name and how to reach them, and a line a racquet."""
    assert shell("customer", "add", "--name", "Bo Tarn", "--email", "bo@club.example").out == "On record: #2 Bo Tarn.\n"
    assert shell("customer", "find", "bo").out == "#2 Bo Tarn bo@club.example\n"
    assert shell("customer", "change", "bo", "--phone", "202 555 0144").out == "On record: #2 Bo Tarn.\n"
    assert shell("customer", "find", "0144").out == "#2 Bo Tarn +1 202-555-0144 bo@club.example\n"
    for said in ("maya", "0143", tag):
        assert shell("customer", "find", said).out == (
            f"#1 Maya Okoro +1 202-555-0143\n    red frame: {tag} strung, restring by 4 September 2026\n"
        )
    nobody = shell("customer", "find", "Ondine")
    assert (nobody.code, nobody.out) == (3, "Nobody is on record under Ondine.\n")


def test_a_racquet_with_a_crack_stays_on_record_without_a_stringing(shell: Shell, tag: str) -> None:
    """It is handed to a person, and is found afterwards by its nickname alone."""
    cracked = shell("job", "add", "--customer", "maya", "--frame", "crack", "--nickname", "blue", "--mains", "aramid")
    assert cracked.out.startswith("Maya Okoro: blue.\nA crack in the frame goes to a qualified stringer")
    assert shell("customer", "find", "maya").out.splitlines()[1:] == [
        f"    red frame: {tag} strung, restring by 4 September 2026",
        "    blue",
    ]


DUE = [
    # Days from a day to 4 September 2026, counted on a calendar.
    (MAY, "in 123 days"),
    ("2026-09-01", "in 3 days"),
    ("2026-09-04", "today"),
    ("2026-09-10", "6 days overdue"),
]


@pytest.mark.parametrize(("today", "note"), DUE)
def test_the_list_of_those_due_says_how_far_off(shell: Shell, tag: str, today: str, note: str) -> None:
    """One line a racquet, and how many there are."""
    listed = shell("due", "--days", "365", today=today)
    row, count = listed.out.splitlines()
    assert row.startswith(f"4 September 2026  Maya Okoro  red frame  {tag}  ")
    assert note in row
    assert count == "1 racquet."


def test_the_list_of_those_due_is_cut_short_and_says_so(shell: Shell, tag: str) -> None:
    """Nobody takes a part for the whole; those whose day has passed can be left out."""
    assert shell("due", "--limit", "0", today="2026-09-01").out == "0 of 1 are shown; take --limit for more.\n"
    assert tag in shell("due", today="2026-09-10").out
    assert shell("due", "--no-overdue", today="2026-09-10").out == "0 racquets.\n"


def test_the_list_of_those_due_as_a_file_for_a_spreadsheet(shell: Shell, tag: str, tmp_path: Path) -> None:
    """On standard output alone, or in a file that is named; a phone number is no formula there."""
    (row,) = csv.DictReader(io.StringIO(shell("due", "--days", "365", "--csv", "-").out))
    assert (row["tag"], row["restring_by"], row["days_left"]) == (tag, "2026-09-04", "123")
    assert row["phone"] == "'+12025550143"
    path = tmp_path / "due.csv"
    assert shell("due", "--days", "365", "--csv", str(path)).out == f"Written: {path}.\n"
    assert next(csv.DictReader(io.StringIO(path.read_text("utf-8-sig")))) == row


def test_the_calendars_of_the_shop_and_of_a_customer(shell: Shell, tag: str, tmp_path: Path) -> None:
    """Read back by icalendar: the shop sees whom to ring and when a season starts, the customer what is in there."""
    assert shell("league", "add", LEAGUE, "--season", "2026-06-01", "--season", "2026-02-01").code == 0
    shop = icalendar.Calendar.from_ical(shell("due", "--days", "365", "--ics", "-").out)
    events = {str(event["summary"]): event for event in shop.walk("VEVENT")}
    assert set(events) == {"Maya Okoro: restring red frame", f"{LEAGUE}: season starts"}
    assert events[f"{LEAGUE}: season starts"].decoded("dtstart") == dt.date(2026, 6, 1)
    assert str(events["Maya Okoro: restring red frame"]["description"]) == "+12025550143"
    path = tmp_path / "maya.ics"
    assert shell("due", "--customer", "maya", "--ics", str(path)).out == f"Written: {path}.\n"
    own = icalendar.Calendar.from_ical(path.read_bytes())
    assert str(own["x-wr-calname"]) == "Strings of Maya Okoro"
    (event,) = own.walk("VEVENT")
    assert (str(event["summary"]), event.decoded("dtstart")) == ("Restring: red frame", dt.date(2026, 9, 4))
    assert str(event["description"]) == f"Tag {tag}. synthetic gut at 54 lb."
    (alarm,) = event.walk("VALARM")
    assert alarm.decoded("trigger") == dt.timedelta(days=-7)


@pytest.mark.usefixtures("tag")
def test_a_league_fills_and_empties(shell: Shell) -> None:
    """Its seasons and players stand below its name, and one due is shown with the season ahead."""
    assert shell("league", "list").out == "Nothing.\n"
    assert shell("league", "add", LEAGUE, "--season", "2026-06-01").out == f"{LEAGUE}\n    season from 1 June 2026\n"
    joined = shell("league", "join", LEAGUE, "maya").out
    assert joined.splitlines() == [LEAGUE, "    season from 1 June 2026", "    Maya Okoro"]
    later = shell("league", "season", LEAGUE, "2026-10-01", "--called", "autumn").out
    assert later.splitlines()[2:] == ["    season from 1 October 2026", "    Maya Okoro"]
    due = shell("due", "--days", "365", "--league", LEAGUE).out.splitlines()[0]
    assert due.endswith(f"in 123 days  before {LEAGUE} on 1 June 2026")
    assert "Maya Okoro" not in shell("league", "leave", LEAGUE, "maya").out
    assert shell("due", "--days", "365", "--league", LEAGUE).out == "0 racquets.\n"


@pytest.mark.usefixtures("tag")
def test_the_rush_before_a_season_is_planned_around_closed_days(shell: Shell) -> None:
    """Whoever has promised a day keeps it; the others get one, and none falls on a day nobody strings."""
    shell("league", "add", LEAGUE, "--season", "2026-09-14")
    shell("customer", "change", "maya", "--level", "competitive")
    shell("league", "join", LEAGUE, "maya")
    shell("job", "add", "--name", "Bo Tarn", "--level", "competitive", *STRUNG[:-2], "--promised", "2026-09-03")
    shell("league", "join", LEAGUE, "Bo Tarn")
    plan = shell("league", "plan", LEAGUE, "--closed", "sat", "sun", "mon", today="2026-08-29")
    assert plan.code == 0
    head, *rows = plan.out.splitlines()
    assert head.startswith(f"{LEAGUE}, season from 14 September 2026: fresh strings from ")
    # 29 August 2026 is a Saturday: the first day somebody strings is Tuesday, 1 September.
    assert "  Maya Okoro  red frame  planned for 1 September 2026" in rows
    assert "  Bo Tarn  racquet  promised for 3 September 2026" in rows
    assert "  1 September 2026: 0 promised, 1 planned" in rows
    assert "  3 September 2026: 1 promised, 0 planned" in rows
    assert rows[-1] == "At most 1 on one day."


def test_a_racquet_comes_back_and_is_measured(shell: Shell, tag: str) -> None:
    """What the label says, what the reading says, and why: 1 - 30/38 is 21.1 %."""
    shell("job", "collect", tag, today=AUGUST)
    back = shell("job", "back", tag, "--reading", "30", "--kind", "stiffness", today=AUGUST)
    assert back.code == 0
    told = back.out.splitlines()
    assert told[:5] == [
        "#1 Maya Okoro +1 202-555-0143",
        "Label: restring by 4 September 2026.",
        "On record: Play on.",
        "Baseline 38, now 30: a loss of 21.1 %.",
        "With the reading: Restring now.",
    ]
    assert any("A loss of 21.1 % has reached the 20 % line" in line for line in told[5:])
    without = shell("job", "back", "maya", today=AUGUST)
    assert "On record: Restring now." in without.out
    history = shell("job", "history", tag, today=AUGUST).out.splitlines()
    assert history[0] == f"{tag}  collected  4 May 2026  synthetic gut at 54 lb  Restring by 4 September 2026."
    assert history[1:3] == ["    4 May 2026  baseline 38 kgf/cm", "    4 August 2026  check 30 kgf/cm"]
    assert "    4 August 2026 counter: added reading" in history


@pytest.mark.usefixtures("tag")
def test_whose_racquet_came_back_is_asked_when_several_may_be_meant(shell: Shell) -> None:
    """Two racquets of one player are listed with the numbers to name them by; nobody found is exit code 3."""
    shell("job", "add", "--customer", "maya", "--frame", "sound", "--mains", "polyester", "--nickname", "blue")
    asked = shell("job", "back", "maya")
    assert asked.code == 2
    assert asked.out.splitlines() == [
        "#1 Maya Okoro +1 202-555-0143",
        "Several racquets may be meant; say which with --racquet:",
        "  1: red frame",
        "  2: blue",
    ]
    assert "Label: restring by 4 September 2026." in shell("job", "back", "maya", "--racquet", "1").out
    nobody = shell("job", "back", "Ondine")
    assert (nobody.code, nobody.out) == (3, "Nobody is on record under Ondine.\n")


@pytest.mark.usefixtures("tag")
def test_a_backup_is_put_back_only_when_confirmed(shell: Shell, tmp_path: Path) -> None:
    """Without --yes the way on is told and nothing happens; with it, what was there stays beside it."""
    made = str(shell("backup", str(tmp_path / "kept"), "--json").json["file"])
    shell("customer", "change", "maya", "--name", "Maya Wren")
    asked = shell("restore", made)
    assert asked.code == 2
    assert "--yes" in asked.err
    assert shell("customer", "find", "maya").out.startswith("#1 Maya Wren")
    done = shell("restore", made, "--yes")
    assert done.code == 0
    first, second = done.out.splitlines()
    assert first == f"{made} is in place."
    assert Path(second.removeprefix("What was there before is in ").removesuffix(".")).stat().st_size > 0
    assert shell("customer", "find", "maya").out.startswith("#1 Maya Okoro")


def test_a_list_from_an_old_program_is_read_and_what_was_not_is_named(shell: Shell, tmp_path: Path) -> None:
    """Letters stored the old way, a column nobody knows, and lines an earlier run took in already."""
    source = tmp_path / "people.csv"
    source.write_bytes("name,shoe size\nInés Marlow,38\nBo Tarn,44\n".encode("cp1252"))
    told = shell("import", "customers", str(source)).out.splitlines()
    assert told[0] == "2 lines: 2 added, 0 changed, 0 known already, 0 left out."
    assert any(line.startswith("Read as ") for line in told)
    assert "Columns that were not read: shoe size." in told
    assert shell("customer", "find", "Marlow").out == "#1 Inés Marlow\n"
    again = shell("import", "customers", str(source)).out.splitlines()
    assert "The first 2 lines were taken in by an earlier run." in again
