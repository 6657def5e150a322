"""The rulebook is read strictly: whatever is wrong with it is named by file, row and remedy before it decides."""

from __future__ import annotations

import copy
import json
import shutil
from pathlib import Path
from string import Formatter
from typing import Any

import pytest
import yaml
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.book_format import MOST_ROWS, NEEDED_VALUES
from rules.errors import BookError
from rules.rulebook import BOOK_FILES, BOOK_FOLDER, OPTIONAL_FILES, build_book, load_book
from tests.rules.editions import edit_book, find_table, names_remedy
from tests.strategies import any_json

BREAKAGES = yaml.safe_load((Path(__file__).parent / "cases" / "broken_books.yaml").read_text(encoding="utf8"))["broken"]
FEWEST_BREAKAGES = 30


def break_file(path: Path, breakage: dict[str, Any]) -> None:
    """Do to a file what the breakage says; fail where there is nothing to change."""
    if breakage.get("remove"):
        path.unlink()
    elif "bytes" in breakage:
        path.write_bytes(bytes.fromhex(breakage["bytes"]))
    elif "text" in breakage:
        path.write_text(breakage["text"], encoding="utf8")
    else:
        before = path.read_text(encoding="utf8")
        cut = breakage.get("cut")
        after = before.partition(cut)[0] if cut else before.replace(*breakage["change"], 1)
        assert after != before, "the book has changed; correct the breakage"
        path.write_text(after, encoding="utf8")


@pytest.mark.parametrize("breakage", BREAKAGES, ids=[one["name"] for one in BREAKAGES])
def test_a_broken_book_is_refused(tmp_path: Path, breakage: dict[str, Any]) -> None:
    """The error names the file, the row or key, and what to do."""
    folder = tmp_path / "book"
    folder.mkdir()
    for name in BOOK_FILES:
        shutil.copy(BOOK_FOLDER / name, folder / name)
    break_file(folder / breakage["file"], breakage)
    with pytest.raises(BookError) as caught:
        load_book(folder)
    assert caught.value.row == breakage["row"]
    assert caught.value.file == breakage["file"]
    assert names_remedy(caught.value), caught.value.message
    for piece in breakage["says"]:
        assert piece in caught.value.message
    assert str(caught.value) == f"{caught.value.file}: {caught.value.row}: {caught.value.message}"


def test_there_are_enough_breakages() -> None:
    """The list of ways to break a book does not shrink unseen."""
    assert len(BREAKAGES) >= FEWEST_BREAKAGES


@pytest.mark.parametrize(
    ("text", "row", "says"),
    [
        ("tables: " + "[" * 100_000, "line 1", "nesting depth"),
        ("tables: " + "[" * 50, "line 1", "too many brackets in one another"),
        ("tables:\n" + "".join(f"{' ' * deep}- \n" for deep in range(200)), "line 21", "too many brackets"),
        ("a: &a [x, x]\nb: &b [*a, *a]\nc: [*b, *b]\n", "line 2", "*a stands for what is written elsewhere"),
        ("tables: " + "9" * 5_000, "file", "holds a number too large to be one"),
        ("#" * 600_000, "file", "is longer than 500000 characters"),
        ("tables: [!!python/object/apply:os.getcwd []]", "line 1", "could not determine a constructor"),
        ("tables:\n  <<: {a: 1}\n  <<: {a: 1}\n", "line 2", "stands twice"),
        ("tables: \0", "file", "check indentation"),
    ],
    ids=[
        "very deep brackets",
        "deep brackets",
        "deep lines",
        "aliases",
        "a giant number",
        "a giant file",
        "a program",
        "merges",
        "a zero",
    ],
)
def test_what_would_hang_or_end_the_process_is_refused(tmp_path: Path, text: str, row: str, says: str) -> None:
    """A file nobody writes by hand, but a broken disk or a bad joke does: named like any other."""
    for name in BOOK_FILES:
        shutil.copy(BOOK_FOLDER / name, tmp_path / name)
    (tmp_path / "interval.yaml").write_text(text, encoding="utf8")
    with pytest.raises(BookError) as caught:
        load_book(tmp_path)
    assert (caught.value.file, caught.value.row) == ("interval.yaml", row)
    assert says in caught.value.message
    assert names_remedy(caught.value)


def test_a_missing_folder_is_refused(tmp_path: Path) -> None:
    """A folder that is not there is a file that cannot be read."""
    with pytest.raises(BookError, match="put the file back"):
        load_book(tmp_path / "nowhere")


@pytest.mark.parametrize("name", BOOK_FILES)
def test_a_stored_book_without_a_file_is_refused(name: str) -> None:
    """An edition taken from storage is checked like one taken from files."""
    content = {key: value for key, value in load_book().content.items() if key != name}
    with pytest.raises(BookError, match="is missing from the stored rulebook") as caught:
        build_book(content)
    assert caught.value.file == name


@given(file=st.sampled_from(BOOK_FILES), junk=any_json())
@settings(max_examples=50, deadline=None)
def test_any_content_is_a_book_or_refused(file: str, junk: Any) -> None:
    """Whatever stands in a file, there is a book or a refusal, never another error."""
    with pytest.raises(BookError):
        build_book({**load_book().content, file: junk})


def _list_places(node: Any, place: tuple[Any, ...] = ()) -> list[tuple[Any, ...]]:
    """Return the place of every value inside a content."""
    inner = node.items() if isinstance(node, dict) else enumerate(node) if isinstance(node, list) else ()
    return [place, *(deeper for key, child in inner for deeper in _list_places(child, (*place, key)))][
        bool(not place) :
    ]


PLACES = {file: _list_places(load_book().content[file]) for file in BOOK_FILES}


@given(data=st.data())
@settings(max_examples=60, deadline=None)
def test_any_value_anywhere_is_read_or_refused(data: st.DataObject) -> None:
    """One value of the book replaced by anything: a book, or a refusal that names the file."""
    file = data.draw(st.sampled_from(BOOK_FILES))
    place = data.draw(st.sampled_from(PLACES[file]))
    content = copy.deepcopy(dict(load_book().content))
    node = content[file]
    for key in place[:-1]:
        node = node[key]
    node[place[-1]] = data.draw(any_json())
    try:
        build_book(content)
    except BookError as error:
        named = error.file
    else:
        named = file
    assert named in {*BOOK_FILES, "book"}


def test_a_table_takes_so_many_rows_and_no_more() -> None:
    """The engine hangs on tables of many hundred rows, so the book takes fewer."""

    def fill(content: dict[str, Any], count: int) -> None:
        rows = find_table(content, "notes")["rows"]
        rows += [{**rows[0], "id": f"note-{number}"} for number in range(count - len(rows))]

    edit_book(lambda content: fill(content, MOST_ROWS))
    with pytest.raises(BookError, match="rows"):
        edit_book(lambda content: fill(content, MOST_ROWS + 1))


def test_an_edition_comes_back_from_its_content() -> None:
    """What is stored of an edition is enough to decide with it again."""
    book = load_book()
    again = build_book(json.loads(json.dumps(book.content)))
    assert again == book
    assert again.hash == book.hash


def test_every_number_is_read() -> None:
    """A number that nothing reads is a number somebody changes in vain."""
    book = load_book()
    read = set(NEEDED_VALUES)
    for file in (*BOOK_FILES, *OPTIONAL_FILES):
        for table in book.content[file].get("tables", []):
            for row in table["rows"] or ():
                read |= {value for value in row["gives"].values() if isinstance(value, str)}
                read |= {name for _, name, _, _ in Formatter().parse(row["says"] + row.get("followed", "")) if name}
                for cell in row.get("when", {}).values():
                    read |= set(cell.values()) if isinstance(cell, dict) else set()
    assert set(book.values) - read == set()


def test_every_source_is_cited() -> None:
    """A source listed for nothing claims support that no row has."""
    content = load_book().content
    cited = {
        source
        for file in (*BOOK_FILES, *OPTIONAL_FILES)
        for table in content[file].get("tables", [])
        for row in table["rows"] or ()
        for source in row["source"]
    }
    for group in ("values", "limits", "approximate_days", "policies"):
        cited |= {entry["source"] for entry in content["values.yaml"][group].values()}
    assert cited == set(content["sources.yaml"]["sources"])


def test_every_row_names_its_source() -> None:
    """No row stands without where it comes from, and silent places of the chart say that they are ours."""
    book = load_book()
    for table in book.tables.values():
        for row in table.rows:
            assert row.source
            if "chart is silent" in row.says:
                assert "house rule" in row.source


def test_a_row_is_found_by_its_id() -> None:
    """Every row by its id, and a clear error for none."""
    book = load_book()
    for table in book.tables.values():
        for row in table.rows:
            assert book.row(row.id) is row
    with pytest.raises(KeyError):
        book.row("no-such-row")
