"""How long a shop's whole list takes on its way in: 50,000 lines as a spreadsheet writes them."""

from __future__ import annotations

import csv
import datetime as dt
import io
import random
import time
from pathlib import Path

import pytest
from pytest_benchmark.fixture import BenchmarkFixture

from dialogue.counter.counter import Counter
from dialogue.counter.imports import ImportReport, import_customers
from rules.rulebook import load_book
from storage.database import open_store

LINES = 50_000
BOUND_SECONDS = 60.0
FIRST = ("Mara", "Tobi", "Ilse", "Jon", "Petra", "Olu", "Kai", "Wren", "Dario", "Leonie", "Anselm", "Yusra")
LAST = ("Hollis", "Fenwick", "Brandt", "Okoro", "Strand", "Lund", "Marlow", "Quist", "Achterberg", "Penhallow")


@pytest.fixture
def content() -> bytes:
    """A list of invented people."""
    chance = random.Random(11)  # noqa: S311
    target = io.StringIO()
    writer = csv.writer(target)
    writer.writerow(["Customer name", "Phone", "E-mail", "Level", "Plays per week", "Consent"])
    for number in range(LINES):
        name = f"{chance.choice(FIRST)} {chance.choice(LAST)}{chance.choice(('son', 'er', 'ley', ''))}"
        phone = f"(2{number // 10_000:02d}) 555-{number % 10_000:04d}"
        writer.writerow([name, phone, f"p{number}@example.org", "for fun", "2-3", "yes"])
    return target.getvalue().encode()


def test_fifty_thousand_lines(benchmark: BenchmarkFixture, content: bytes, tmp_path: Path) -> None:
    """Each line is checked, each number read, each customer found by name afterwards; batches of 1,000 lines."""

    def take_over() -> ImportReport:
        path = tmp_path / f"{time.monotonic_ns()}.sqlite3"
        with open_store(f"sqlite:///{path}") as store:
            report = import_customers(Counter(store, load_book(), dt.date(2026, 5, 4)), content)
        assert isinstance(report, ImportReport)
        return report

    report = benchmark.pedantic(take_over, rounds=1)
    assert report.added == LINES - len(report.refused)
    assert report.added > 0.99 * LINES
    assert benchmark.stats.stats.median < BOUND_SECONDS
