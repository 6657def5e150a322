"""A shop's lists come in line by line: every refused line is reported, nothing is lost, nothing comes in twice."""

from __future__ import annotations

import csv
import io
from collections.abc import Iterator
from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dialogue.counter import imports
from dialogue.counter.counter import Counter
from dialogue.counter.customers import find_customer
from dialogue.counter.history import undo
from dialogue.counter.imports import ImportReport, import_catalogue, import_customers
from dialogue.counter.leagues import create_league
from dialogue.counter.outcomes import Refusal
from dialogue.counter.tables import read_table
from storage.errors import StorageError
from storage.unit_of_work import UnitOfWork
from tests.dialogue.counter.conftest import need, refused

LIST = """\
Customer Name;Tel.;E-Mail;Level;Plays per week;Consent;Shoe size
Maya Okoro;(202) 555-0143;maya@example.org;Competitive;3-4;yes;40
Tobias Wren;202-555-0117;;for fun;2,5;no;42
"""


def reasons(report: ImportReport) -> list[tuple[int, str]]:
    """Return line and reason of everything that was left out."""
    return [(entry.line, entry.remark.reason) for entry in report.refused]


def names(counter: Counter) -> list[str]:
    """Return who is on record."""
    with counter.look() as unit:
        return [row.name for row in unit.customers.all()]


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-32", "cp1252"])
@pytest.mark.parametrize("delimiter", [",", ";", "\t", "|"])
def test_a_list_of_another_program_is_read(counter: Counter, encoding: str, delimiter: str) -> None:
    """Encoding, delimiter, heads and forms of numbers are found out."""
    text = LIST.replace("2,5", "2.5").replace(";", delimiter).replace("Tobias Wren", "Tobias Wr\u00e9n")
    text = text.replace("Tel.", "Tel")
    report = need(import_customers(counter, text.encode(encoding)))
    assert (report.lines, report.added, report.refused) == (2, 2, ())
    assert report.ignored_columns == ("Shoe size",)
    assert names(counter) == ["Maya Okoro", "Tobias Wr\u00e9n"]
    with counter.look() as unit:
        maya, tobias = unit.customers.all()
    assert (maya.phone, maya.email, maya.level) == ("+12025550143", "maya@example.org", "competitive")
    assert (maya.plays_per_week_low, maya.plays_per_week_high, maya.consent_to_contact) == (3, 4, True)
    assert (tobias.level, tobias.plays_per_week_low, tobias.consent_to_contact) == ("recreational", 2.5, False)
    assert need(find_customer(counter, "5550143")).hits[0].customer.name == "Maya Okoro"


def test_every_refused_line_is_reported_with_its_number_and_why(counter: Counter) -> None:
    """A bad cell of a number or address is left out and the rest kept; a bad line is left out whole."""
    content = (
        "name,phone,email,level,plays\n"
        "Maya Okoro,202 555 0143,,competitive,3\n"
        "Bo Castellane,call me,bo@,recreational,2\n"
        ",202 555 0199,,,\n"
        "Ines Marlow,,,professional,1\n"
        "Sam Brandt,,,recreational,40\n"
        "Sam Brandt,,,recreational,often\n"
        "\n"
        "maya  okoro,+1 202 555 0143,,,\n"
        "too,few\n"
        '"Two\nLines",202 555 0128,,,\n'
        "Wilma Strand,,,,,surplus\n"
        f"{'x' * 121},,,,\n"
    )
    report = need(import_customers(counter, content.encode()))
    assert names(counter) == ["Maya Okoro", "Bo Castellane", "Two Lines"]
    assert reasons(report) == [
        (4, "name_missing"),
        (5, "word_unknown"),
        (6, "fact"),
        (7, "number_unreadable"),
        (9, "line_twice"),
        (10, "cells_wrong"),
        (13, "cells_wrong"),
        (14, "too_long"),
    ]
    assert [(entry.line, entry.remark.reason) for entry in report.partly] == [
        (3, "phone_unreadable"),
        (3, "email_invalid"),
    ]
    for entry in (*report.refused, *report.partly):
        assert counter.wording.remark(entry.remark)
    assert report.lines == report.added + len(report.refused) == 11


def test_who_is_on_record_is_not_taken_in_again(counter: Counter) -> None:
    """The name with the number makes a customer; another number is another person of that name."""
    need(import_customers(counter, b"name,phone\nSam Brandt,202 555 0190\n"))
    report = need(import_customers(counter, b"name,phone\nSAM BRANDT,(202) 555-0190\nSam Brandt,202 555 0128\n"))
    assert (report.added, reasons(report)) == (1, [(2, "on_record")])


def test_first_and_last_names_in_two_columns(counter: Counter) -> None:
    """They become one name, and a league that is on record is joined."""
    need(create_league(counter, "Hollow Winter League"))
    content = b"First name,Last name,League\nMaya,Okoro,hollow winter league\nBo,Castellane,Moon League\n"
    report = need(import_customers(counter, content))
    assert names(counter) == ["Maya Okoro", "Bo Castellane"]
    assert [entry.remark.reason for entry in report.partly] == ["league_unknown"]
    with counter.look() as unit:
        assert [row.name for row in unit.leagues.members(1)] == ["Maya Okoro"]


BAD_FILES: list[tuple[str, bytes, str | None]] = [
    ("file_empty", b"", None),
    ("columns_missing", b"phone,email\n1,2\n", None),
    ("file_empty", b"\xff\xfe", None),
    ("column_twice", b"name,customer\nA,B\n", None),
    ("file_binary", b"PK\x03\x04\x00\x00name", None),
    ("encoding_wrong", "name\nJos\u00e9\n".encode("cp1252"), "utf-8"),
    ("encoding_wrong", b"name\n\x81\x8d\n", None),
    ("encoding_unknown", b"name\nA\n", "klingon"),
]


@pytest.mark.parametrize(("reason", "content", "encoding"), BAD_FILES)
def test_a_file_that_cannot_be_used_is_refused_whole(
    counter: Counter, reason: str, content: bytes, encoding: str | None
) -> None:
    """The sentence says what the file has and what it needs."""
    refusal = refused(import_customers(counter, content, encoding))
    assert refusal.reason == reason
    assert counter.wording.remark(refusal)
    assert names(counter) == []


@given(content=st.binary(max_size=300))
def test_any_bytes_are_a_table_or_refused(content: bytes) -> None:
    """Nothing but a refusal comes out of junk."""
    from dialogue.counter.outcomes import Refused  # noqa: PLC0415

    try:
        table = read_table(b"name,phone\n" + content, "customers", (("name",),))
    except Refused:
        return
    assert all(line.problem or set(line.cells) <= {"name", "phone"} for line in table.lines)


def many(count: int) -> bytes:
    """Return a list of so many customers."""
    target = io.StringIO()
    writer = csv.writer(target)
    writer.writerow(["name", "phone"])
    writer.writerows((f"Player {number}", f"202555{number:04d}") for number in range(count))
    return target.getvalue().encode()


@pytest.fixture
def short_batches(monkeypatch: pytest.MonkeyPatch) -> None:
    """Ten lines a transaction."""
    monkeypatch.setattr(imports, "BATCH", 10)


@pytest.mark.usefixtures("short_batches")
def test_a_run_that_was_stopped_goes_on_where_it_was(counter: Counter, monkeypatch: pytest.MonkeyPatch) -> None:
    """Whole batches stay, the broken one is gone, and the second run takes in the rest with a complete report."""
    content = many(35) + b",lost\n"
    kept = imports._keep_customers
    batches = iter(range(10))

    def stop(unit: UnitOfWork, plans: list[Any], tally: Any) -> None:
        kept(unit, plans, tally)
        if next(batches) == 2:
            raise KeyboardInterrupt

    monkeypatch.setattr(imports, "_keep_customers", stop)
    with pytest.raises(KeyboardInterrupt):
        import_customers(counter, content)
    assert len(names(counter)) == 20
    monkeypatch.setattr(imports, "_keep_customers", kept)
    seen: list[tuple[int, int]] = []
    report = need(import_customers(counter, content, progress=lambda *done: seen.append(done)))
    assert (report.resumed_after, report.added, reasons(report)) == (20, 15, [(37, "name_missing")])
    assert len(names(counter)) == 35
    assert seen == [(30, 36), (36, 36)]
    third = need(import_customers(counter, content))
    assert (third.resumed_after, third.added, reasons(third)) == (36, 0, [(37, "name_missing")])


@pytest.mark.usefixtures("short_batches")
def test_undo_takes_back_a_batch_and_the_file_can_be_run_again(counter: Counter) -> None:
    """The note how far the file has come goes back with the batch."""
    need(import_customers(counter, many(15)))
    undo(counter)
    assert len(names(counter)) == 10
    assert need(import_customers(counter, many(15))).added == 5


@pytest.mark.usefixtures("short_batches")
def test_a_full_disk_loses_nothing_that_was_kept(tmp_path: Path, counter: Counter) -> None:
    """SQLite's own limit on pages stands for the disk: the batches before stay, and a sentence says why it stopped."""
    from storage.database import open_store  # noqa: PLC0415

    with open_store(f"sqlite:///{tmp_path / 'shop.sqlite3'}") as store:
        here = replace(counter, store=store)
        with _pages_limited(here), pytest.raises(StorageError, match="no room left"):
            import_customers(here, many(600))
        kept = len(names(here))
        assert 0 < kept < 600
        assert kept % imports.BATCH == 0
        report = need(import_customers(here, many(600)))
        assert (report.resumed_after, report.added, report.refused) == (kept, 600 - kept, ())
        assert len(set(names(here))) == 600


def _pages_limited(counter: Counter) -> Any:
    from contextlib import contextmanager  # noqa: PLC0415

    from sqlalchemy import event  # noqa: PLC0415

    @contextmanager
    def limit() -> Iterator[None]:
        engine = counter.store.engine
        engine.dispose()

        def narrow(connection: Any, _: object) -> None:
            pages = connection.execute("PRAGMA page_count").fetchone()[0]
            connection.execute(f"PRAGMA max_page_count = {pages + 40}")

        event.listen(engine, "connect", narrow)
        try:
            yield
        finally:
            event.remove(engine, "connect", narrow)
            engine.dispose()

    return limit()


# The catalogue.


def test_the_shops_strings_come_in_with_material_and_gauge(counter: Counter) -> None:
    """Materials in the trade's many words, gauges in millimetres with point or comma."""
    content = (
        "Product;Type;Gauge\n"
        "Hollow Spin;Co-Poly;1,25 mm\n"
        "Hollow Soft;multi;1.30\n"
        "Linden Classic;Nylon;\n"
        "Marble;stone;1.2\n"
        ";gut;1.3\n"
        "Fat Rope;gut;16\n"
        "hollow spin;poly;1.25\n"
        "No Kind;;1.3\n"
    )
    report = need(import_catalogue(counter, content.encode()))
    with counter.look() as unit:
        found = [(row.product, row.material, row.gauge_mm) for row in unit.catalogue.all()]
    assert found == [
        ("Hollow Spin", "polyester", 1.25),
        ("Hollow Soft", "multifilament", 1.3),
        ("Linden Classic", "synthetic_gut", None),
    ]
    assert reasons(report) == [
        (5, "word_unknown"),
        (6, "product_missing"),
        (7, "out_of_range"),
        (8, "line_twice"),
        (9, "material_missing"),
    ]
    again = need(import_catalogue(counter, b"product,material,gauge\nHollow Spin,aramid,1.25\nHollow Soft,multi,1.3\n"))
    assert (again.added, again.changed, again.known) == (0, 1, 1)


def test_a_catalogue_without_materials_is_refused(counter: Counter) -> None:
    """A product alone says nothing to the chart."""
    outcome = import_catalogue(counter, b"product,gauge\nHollow Spin,1.25\n")
    assert isinstance(outcome, Refusal)
    assert outcome.values["needed"] == "product + material"
