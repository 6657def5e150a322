"""One table of what the project costs, each figure beside a plain baseline measured in the same run.

`python -m tests.benchmarks.table` takes about a quarter of an hour; `--only decide start` measures some rows.
"""

from __future__ import annotations

import argparse
import asyncio
import datetime as dt
import gc
import itertools
import os
import sqlite3
import statistics
import subprocess
import sys
import tempfile
import time
import tomllib
from collections.abc import Callable, Iterator
from contextlib import closing
from dataclasses import dataclass
from importlib.metadata import PackageNotFoundError, distribution, requires
from pathlib import Path

import psutil
from packaging.requirements import Requirement
from packaging.utils import canonicalize_name
from rich.console import Console
from rich.table import Table

from dialogue.messages import Message
from dialogue.understanding import understand
from rules.casebook import load_cases
from rules.chain import decide
from rules.engine import DurableEngine, choose_engine
from rules.evaluator import PlainEngine
from rules.rulebook import load_book
from storage.database import open_store
from tests.assistant.web.running_shop import TODAY
from tests.assistant.web.test_serve_command import start
from tests.benchmarks.big_shop import TODAY as BIG_TODAY
from tests.benchmarks.big_shop import Size, open_big_shop
from tests.benchmarks.kiosk_load import Kiosk, let_settle, run_load
from tests.benchmarks.test_understanding_peers import read_like_nearest
from tests.dialogue.scripts import build_conversation
from tests.dialogue.test_turn_speed import TALK
from tests.dialogue.understanding.scoring import REFERENCE_DAY, read_corpus
from tests.storage.conftest import run_postgresql

ROOT = Path(__file__).parents[2]
MEGABYTE = 1024 * 1024
MILLION = Size(customers=250_000, racquets=300_000, jobs=1_000_000)
MANY_TURNS = 100_000
WORKERS = 4


@dataclass(frozen=True)
class Row:
    """One line of the table."""

    what: str
    figure: str
    baseline: str
    """What it is measured beside, and that one's figure."""
    bound: str = ""


def median_ms(work: Callable[[], object], rounds: int) -> float:
    """Return how long the work takes at the median, in milliseconds."""
    spent = []
    for _ in range(rounds):
        began = time.perf_counter()
        work()
        spent.append(time.perf_counter() - began)
    return statistics.median(spent) * 1000


def cycle(work: Callable[[int], object], number: int) -> Callable[[], object]:
    """Return work that is done with 0, 1, 2 ... and round again."""
    numbers = itertools.cycle(range(number))
    return lambda: work(next(numbers))


def measure_understanding() -> Iterator[Row]:
    """A line of talk, beside the most similar of the other lines."""
    lines = read_corpus()
    nearest = read_like_nearest(lines)
    understand("", today=REFERENCE_DAY)
    ours = cycle(
        lambda at: understand(lines[at].text, asked=lines[at].asked, channel=lines[at].channel, today=REFERENCE_DAY),
        len(lines),
    )
    plain = median_ms(cycle(lambda at: nearest(lines[at]), len(lines)), len(lines))
    yield Row("understand a line", f"{median_ms(ours, len(lines)):.2f} ms", f"nearest example {plain:.2f} ms")


def measure_decisions() -> Iterator[Row]:
    """Every worked situation, beside the same tables read by plain Python."""
    book = load_book()
    known = [case.read_facts(book) for case in load_cases() if not case.policies]

    def with_engine(engine: object) -> float:
        return median_ms(cycle(lambda at: decide(known[at], book, engine), len(known)), 4 * len(known))  # type: ignore[arg-type]

    each_time = with_engine(DurableEngine(most_answers=0))
    told = f"{with_engine(choose_engine()):.2f} ms; each table asked anew {each_time:.2f} ms"
    yield Row("decide", told, f"plain Python rules {with_engine(PlainEngine()):.2f} ms")


def measure_turns() -> Iterator[Row]:
    """A turn of talk kept in a file, beside a bare insert and commit; and memory over very many turns."""
    with tempfile.TemporaryDirectory() as folder, open_store(f"sqlite:///{folder}/shop.sqlite3") as store:
        conversation = build_conversation(store)

        def take(number: int) -> None:
            talk, place = divmod(number, len(TALK))
            conversation.handle(Message(TALK[place], f"s{talk}", today=dt.date(2026, 11, 25)))

        ours = median_ms(cycle(take, 900), 900)
        yield Row("a typed turn, kept on disk", f"{ours:.1f} ms", f"bare SQLite insert {_bare_insert(folder):.1f} ms")
        gc.collect()
        before = psutil.Process().memory_info().rss
        for number in range(1000, 1000 + MANY_TURNS):
            take(number)
        gc.collect()
        grown = (psutil.Process().memory_info().rss - before) / MEGABYTE
        yield Row(f"memory over {MANY_TURNS:,} turns", f"{grown:+.1f} MB", f"before {before / MEGABYTE:.0f} MB")


def _bare_insert(folder: str) -> float:
    with closing(sqlite3.connect(f"{folder}/bare.sqlite3")) as bare:
        bare.execute("PRAGMA journal_mode = WAL")
        bare.execute("PRAGMA synchronous = FULL")
        bare.execute("CREATE TABLE turn (id INTEGER PRIMARY KEY, words TEXT)")

        def insert() -> None:
            bare.execute("INSERT INTO turn (words) VALUES (?)", ("x" * 4000,))
            bare.commit()

        return median_ms(insert, 300)


def measure_kiosks() -> Iterator[Row]:
    """The slowest of twenty turns at many kiosks, beside a page that asks nobody anything under the same load."""
    for kiosks, bound in ((1, ""), (50, ""), (200, "150 ms"), (500, "")):
        with tempfile.TemporaryDirectory() as folder:
            yield _at_kiosks(f"sqlite:///{folder}/load.sqlite3", kiosks, "one server, SQLite", bound)
    with run_postgresql() as url:
        yield _at_kiosks(url, 500, f"{WORKERS} workers, PostgreSQL", "300 ms", "--workers", str(WORKERS))


def _at_kiosks(url: str, kiosks: int, where: str, bound: str, *words: str) -> Row:
    process, address = start(url, "--today", TODAY.isoformat(), *words)
    try:
        let_settle(process.pid)
        plain = median_ms(lambda: asyncio.run(_fetch(address)), 30)
        load = asyncio.run(run_load(address.rstrip("/"), kiosks, keeps_open=not words))
    finally:
        process.terminate()
        process.communicate(timeout=30)
    wrong = f", {len(load.wrong)} WRONG" if load.wrong else ""
    figure = f"{load.at(0.95) * 1000:.0f} ms at p95{wrong}"
    return Row(f"a turn at {kiosks} kiosks ({where})", figure, f"a picture, nobody else there, {plain:.1f} ms", bound)


async def _fetch(address: str) -> None:
    kiosk = Kiosk(address, keeps_open=False)
    assert await kiosk.ask("/favicon.ico") == 200


def measure_due_list() -> Iterator[Row]:
    """What is due in a week among a million stringings, beside the bare rows."""
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "big.sqlite3"
        with open_big_shop(path, MILLION) as big, closing(sqlite3.connect(path)) as bare:
            week = (BIG_TODAY.isoformat(), (BIG_TODAY + dt.timedelta(days=7)).isoformat())
            query = "SELECT * FROM string_job WHERE restring_by BETWEEN ? AND ? ORDER BY restring_by LIMIT 100"

            def ours() -> None:
                with big.store.view() as unit:
                    assert unit.queries.due(BIG_TODAY, within_days=7).total

            plain = median_ms(lambda: bare.execute(query, week).fetchall(), 30)
            yield Row(
                f"due in a week among {MILLION.jobs:,}", f"{median_ms(ours, 30):.0f} ms", f"bare SQL {plain:.1f} ms"
            )


def measure_starts() -> Iterator[Row]:
    """From the shell to the first words and to the first answer, with a database that is there already."""
    facts = '{"level": "recreational", "plays_per_week": 3, "mains_material": "polyester", "strung_on": "2026-08-31"}'
    with tempfile.TemporaryDirectory() as folder:
        db = ("--db", f"sqlite:///{folder}/shop.sqlite3", "--today", "2026-11-24")
        plain = median_ms(lambda: _run(["-c", "import yaml, sqlalchemy, rasa_sdk"], ""), 5)
        for command, said, what, bound in (
            ("talk", "", "", "0.8 s"),
            ("talk", "twice a week for fun\n", ", with a first answer", ""),
            ("decide", facts, "", "0.8 s"),
        ):
            _run(["-m", "assistant", command, *db], said)
            spent = median_ms(lambda words=(command, *db), said=said: _run(["-m", "assistant", *words], said), 7)  # type: ignore[misc]
            told = f"imports alone {plain / 1000:.2f} s"
            yield Row(f"start of `{command}`{what}", f"{spent / 1000:.2f} s", told, bound)


def _run(words: list[str], said: str) -> None:
    # As on anybody's machine, where Python keeps what it has compiled once.
    usual = {name: value for name, value in os.environ.items() if name != "PYTHONDONTWRITEBYTECODE"}
    command = [sys.executable, *words]
    subprocess.run(command, input=said, text=True, check=True, capture_output=True, cwd=ROOT, env=usual)


def measure_size() -> Iterator[Row]:
    """What lies on the disk with the typed install, beside the libraries it must have."""
    project = tomllib.loads((ROOT / "pyproject.toml").read_text())["project"]
    ours = _closure([Requirement(text).name for text in project["dependencies"]])
    must = _closure(["rasa-sdk", "durable-rules", "sqlalchemy", "python-dateutil"])
    own = sum(
        path.stat().st_size
        for name in ("assistant", "dialogue", "rules", "storage")
        for path in (ROOT / name).rglob("*")
        if path.is_file() and path.suffix != ".pyc"
    )
    yield Row(
        "install without extras",
        f"{(_size(ours) + own) / MEGABYTE:.0f} MB, {len(ours)} packages, {own / MEGABYTE:.1f} MB our own",
        f"mandated libraries alone {_size(must) / MEGABYTE:.0f} MB",
    )


def _closure(names: list[str]) -> set[str]:
    """Return the installed packages that these need, extras left out."""
    found: set[str] = set()
    left = [canonicalize_name(name) for name in names]
    while left:
        name = left.pop()
        if name in found:
            continue
        try:
            needed = requires(name) or []
        except PackageNotFoundError:
            continue
        found.add(name)
        wanted = [Requirement(text) for text in needed]
        left += [canonicalize_name(one.name) for one in wanted if not one.marker or one.marker.evaluate({"extra": ""})]
    return found


def _size(names: set[str]) -> int:
    """Return the bytes of these packages' files."""
    files = (file for name in names for file in distribution(name).files or ())
    return sum(path.stat().st_size for path in (Path(str(file.locate())) for file in files) if path.is_file())


PARTS: dict[str, Callable[[], Iterator[Row]]] = {
    "understand": measure_understanding,
    "decide": measure_decisions,
    "turn": measure_turns,
    "kiosk": measure_kiosks,
    "due": measure_due_list,
    "start": measure_starts,
    "size": measure_size,
}


def main() -> None:
    """Measure and print."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--only", nargs="*", choices=PARTS, default=list(PARTS))
    console = Console(width=150)
    table = Table("what", "measured", "beside it", "bound")
    for name in parser.parse_args().only:
        for row in PARTS[name]():
            console.print(f"{row.what}: {row.figure} ({row.baseline})", style="dim")
            table.add_row(row.what, row.figure, row.baseline, row.bound)
    console.print(table)


if __name__ == "__main__":
    main()
