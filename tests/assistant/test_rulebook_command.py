"""The shop's own rulebook from the shell: copied, edited by hand, checked, set beside, used, taken back, printed."""

from __future__ import annotations

import json
import re
import shutil
from html.parser import HTMLParser
from pathlib import Path

import pytest

from rules.rulebook import BOOK_FOLDER, load_book
from tests.assistant.in_process import Ran, Shell, open_shell

WHEN = "when: {level: competitive, stringbed: polyester}"
OWN_TEAM = (
    "{id: own-team, when: {group: team}, gives: {every_months: 2}, says: 'A <b>team</b>: {every}.', source: [house]}"
)
POLY = {
    "level": "competitive",
    "mains_material": "polyester",
    "crosses_material": "polyester",
    "strung_on": "2026-11-01",
}


@pytest.fixture
def shell(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Shell:
    """A shell with a database of its own."""
    return open_shell(tmp_path, monkeypatch, capsys)


def edit(folder: Path, file: str, old: str, new: str) -> None:
    """Change one place of a file by hand."""
    text = (folder / file).read_text(encoding="utf8")
    assert old in text
    (folder / file).write_text(text.replace(old, new, 1), encoding="utf8")


@pytest.fixture
def mine(shell: Shell, tmp_path: Path) -> Path:
    """A copied rulebook in which competitive polyester lasts two months."""
    folder = tmp_path / "my book"
    assert shell("rulebook", "copy", str(folder)).code == 0
    edit(folder, "values.yaml", "competitive_polyester_months: {value: 1", "competitive_polyester_months: {value: 2")
    return folder


def due(ran: Ran) -> str:
    """Return the date a decision names."""
    return str(ran.json["restring_by"])


def test_a_switch_counts_for_the_next_decision_and_is_taken_back(shell: Shell, mine: Path) -> None:
    """One month before, two after `use`, one again after `undo`; --book still names another."""
    assert due(shell("decide", given=POLY)) == "2026-12-01"
    used = shell("rulebook", "use", str(mine), "--who", "ida")
    assert used.code == 0
    assert "What was decided before stays as it was." in used.out
    assert due(shell("decide", given=POLY)) == "2027-01-01"
    assert due(shell("decide", "--book", str(BOOK_FOLDER), given=POLY)) == "2026-12-01"
    listed = shell("rulebook", "list").out
    assert "this shop's own, in use" in listed
    assert "from 24 November 2026, entered by ida" in listed
    assert shell("rulebook", "undo").code == 0
    assert due(shell("decide", given=POLY)) == "2026-12-01"
    assert shell("rulebook", "undo").code == 3


def test_a_switch_for_a_later_day_waits_for_it(shell: Shell, mine: Path) -> None:
    """From the first of January on: the days before are decided as before."""
    assert shell("rulebook", "use", str(mine), "--from", "2027-01-01").code == 0
    assert due(shell("decide", given=POLY)) == "2026-12-01"
    assert due(shell("decide", given=POLY, today="2027-01-01")) == "2027-01-01"


def test_the_rulebook_that_comes_along_can_be_used_again(shell: Shell, mine: Path) -> None:
    """And using what is in use already changes nothing."""
    assert "in use already" in shell("rulebook", "use", "--packaged").out
    shell("rulebook", "use", str(mine))
    assert "in use already" in shell("rulebook", "use", str(mine)).out
    assert "comes along again" in shell("rulebook", "use", "--packaged").out
    assert due(shell("decide", given=POLY)) == "2026-12-01"
    assert shell("rulebook", "use").code == 2


def test_a_rulebook_with_a_problem_is_not_used(shell: Shell, mine: Path) -> None:
    """A row too few is a gap, a slip of the pen names its row; neither is switched to."""
    edit(
        mine,
        "interval.yaml",
        WHEN,
        WHEN.replace("polyester", "[polyester, aramid]"),
    )
    ran = shell("rulebook", "use", str(mine))
    assert ran.code == 2
    assert "interval: match-polyester and match-aramid fire together for level competitive" in ran.err
    assert "is not used" in ran.err
    edit(mine, "interval.yaml", "id: match-polyester", "id: match polyester")
    ran = shell("rulebook", "use", str(mine))
    assert ran.code == 2
    assert "interval.yaml: match polyester: id" in ran.err
    assert json.loads(shell("rulebook", "list", "--json").out)["switches"] == []


def test_old_decisions_stay_as_they_were(shell: Shell, mine: Path) -> None:
    """A consultation taken before the switch is decided again by its own rulebook, and set beside today's."""
    shell("demo")
    stored = shell("decide", "--replay", "1")
    shell("rulebook", "use", str(mine))
    again = shell("decide", "--replay", "1")
    assert (again.code, again.out) == (0, stored.out)
    assert "the same, byte for byte" in again.err
    beside = shell("decide", "--replay", "1", "--with-todays-book")
    assert "Polyester in matches: one month before, two months now.  [competitive_polyester_months]" in beside.out
    assert "interval: every month before, every two months now." in beside.out
    assert shell("decide", "--replay", "1", "--with-todays-book", "--json").json["same"]
    assert shell("decide", "--replay", "999").code == 3
    assert shell("decide", "--with-todays-book").code == 2


def test_the_difference_names_racquets_and_reasons(shell: Shell, mine: Path) -> None:
    """Before the switch: what stands otherwise, which racquets move and why, and how many in all."""
    shell("demo")
    told = shell("check", "--diff", str(mine), "--limit", "1")
    assert told.code == 0
    assert "Polyester in matches: one month before, two months now.  [competitive_polyester_months]" in told.out
    assert re.search(r"^\d+ of \d+ racquets on record would move: 0 to an earlier day", told.out, re.MULTILINE)
    assert "... and" in told.out
    found = shell("check", "--diff", str(mine), "--json").json
    assert found["moved"] == found["later"] == len(found["shown"])
    assert found["old"] == load_book().hash
    same = shell("check", "--diff", str(BOOK_FOLDER))
    assert "Nothing stands otherwise" in same.out
    assert "No racquet on record would move" in same.out


def test_a_folder_is_checked_alone(shell: Shell, mine: Path) -> None:
    """The book of a folder without the phrases: well, or each problem by file and row; no database is made."""
    ran = shell("check", "--book", str(mine), "--json")
    assert ran.code == 0
    assert ran.json["problems"] == []
    assert ran.json["worked_cases"] != "206 of 206 as worked out"
    edit(mine, "verdict.yaml", "source: [practice]", "source: [hearsay]")
    broken = shell("check", "--book", str(mine))
    assert broken.code == 2
    assert "verdict.yaml: verdict-broken: source 'hearsay' is not in sources.yaml; add it there" in broken.out
    assert "One problem." in broken.out


def test_a_copy_never_overwrites(shell: Shell, mine: Path) -> None:
    """A folder with something in it is somebody's work."""
    assert shell("rulebook", "copy", str(mine)).code == 2


def test_a_copy_of_the_shops_own_rulebook_has_its_comments(shell: Shell, mine: Path, tmp_path: Path) -> None:
    """Copied again after the switch, the files are as the shop wrote them."""
    edit(mine, "values.yaml", "values:", "# agreed on with the club in spring\nvalues:")
    shell("rulebook", "use", str(mine))
    shell("rulebook", "copy", str(tmp_path / "again"))
    for path in mine.iterdir():
        assert (tmp_path / "again" / path.name).read_bytes() == path.read_bytes()


def test_decide_needs_no_database(shell: Shell, tmp_path: Path) -> None:
    """Without a switch no file is made; an unreadable one is named with its remedy."""
    assert due(shell("decide", given=POLY)) == "2026-12-01"
    assert not (tmp_path / "shop.sqlite3").exists()
    (tmp_path / "shop.sqlite3").write_text("no database at all " * 200, encoding="utf8")
    ran = shell("decide", given=POLY)
    assert ran.code == 4
    assert "--book" in ran.err
    assert due(shell("decide", "--book", str(BOOK_FOLDER), given=POLY)) == "2026-12-01"


class _Reader(HTMLParser):
    """Gathers the text of a page and what it would load, and notices tags that are not closed."""

    VOID = ("meta", "br", "link", "img", "hr", "input")

    def __init__(self) -> None:
        super().__init__()
        self.open: list[str] = []
        self.text = ""
        self.loads: list[str] = []
        self.ids: set[str] = set()
        self.links: set[str] = set()

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        if tag not in self.VOID:
            self.open.append(tag)
        found = dict(attrs)
        self.loads += [str(found[name]) for name in ("src", "srcset") if name in found]
        self.ids |= {str(found["id"])} if "id" in found else set()
        self.links |= {str(found["href"])} if "href" in found else set()

    def handle_endtag(self, tag: str) -> None:
        assert self.open.pop() == tag

    def handle_data(self, data: str) -> None:
        self.text += data


def test_the_rulebook_is_a_page_to_print(shell: Shell, mine: Path, tmp_path: Path) -> None:
    """Every row with its source, every number, cautions and worked cases; nothing is loaded from elsewhere."""
    edit(
        mine,
        "own.yaml",
        "    rows:\n",
        f"    rows:\n      - {OWN_TEAM}\n",
    )
    shell("rulebook", "use", str(mine))
    page = tmp_path / "book.html"
    assert shell("check", "--book", str(page)).code == 0
    html = page.read_text(encoding="utf8")
    reader = _Reader()
    reader.feed(html)
    assert reader.open == []
    assert reader.loads == []
    assert {link.removeprefix("#") for link in reader.links} <= reader.ids
    book = load_book(mine)
    for table in book.tables.values():
        for row in table.rows:
            assert table.name in ("cautions", "others_say") or row.id in reader.text
            assert row.source in reader.text
    for name in book.values:
        assert name in reader.text
    assert "A <b>team</b>: every two months." in reader.text
    assert "<b>team</b>" not in html
    assert "{" not in reader.text.rpartition("}")[2]
    assert "see a doctor or physiotherapist" in reader.text
    assert "Asked on" in reader.text
    assert "@page" in html


def test_the_page_of_a_named_folder(shell: Shell, mine: Path, tmp_path: Path) -> None:
    """--page with --book writes the page of that folder's rulebook; --json names the file."""
    page = tmp_path / "book.html"
    ran = shell("check", "--page", str(page), "--book", str(mine), "--json")
    assert ran.json == {"file": str(page)}
    assert load_book(mine).hash in page.read_text(encoding="utf8")


def test_a_book_without_its_optional_file_prints_too(shell: Shell, tmp_path: Path) -> None:
    """A rulebook from before there were own rows has none to show."""
    folder = tmp_path / "old"
    shutil.copytree(BOOK_FOLDER, folder)
    (folder / "own.yaml").unlink()
    assert shell("check", "--page", str(tmp_path / "old.html"), "--book", str(folder)).code == 0
    assert "There are none." in (tmp_path / "old.html").read_text(encoding="utf8")
