"""Throws spoilt input at the doors for a while: whatever comes, there is an answer, soon, and never an exception.

Each input is a real one with a few random changes. `make fuzz` runs five minutes; the tests run a few seconds.
"""

from __future__ import annotations

import argparse
import copy
import datetime as dt
import json
import random
import shutil
import sys
import time
import traceback
from collections.abc import Callable, Iterator, Mapping
from contextlib import ExitStack
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any

import yaml

from assistant.bootstrap import decide_facts
from assistant.settings import Settings
from dialogue.conversation import Conversation
from dialogue.counter.counter import Counter
from dialogue.counter.imports import import_catalogue, import_customers
from dialogue.messages import Message
from dialogue.services import Services
from dialogue.understanding import understand
from rules.book_format import PlainLoader
from rules.casebook import CASES_FOLDER, Case, load_cases
from rules.chain import decide
from rules.coverage import find_dead_rows, find_gaps_and_overlaps
from rules.errors import BookError, FactRefused
from rules.evaluator import PlainEngine
from rules.explain import explain
from rules.rulebook import BOOK_FILES, BOOK_FOLDER, OPTIONAL_FILES, load_book
from storage.database import open_store
from tests.dialogue.understanding.scoring import read_corpus
from tests.fuzz_web import open_web_doors

TODAY = dt.date(2026, 11, 24)
LONGEST = 1.0
"""Seconds of processor time within which anything must be answered, on the machine these are measured on."""
ORDINARY_LINE, ORDINARY_SECONDS = "just for fun, twice a week, full bed of poly, strung in march", 0.0012
"""What says how fast this machine is just now: a line, and what understanding it takes there."""
TURNS_A_TALK = 15
HEARD, DECIDED = 60, 10
"""Lines understood and facts decided on, in one round of the doors."""
STRANGE = (
    "\0", "\u202e", "\ud83c\udfbe", "é" * 3, "%s", "{x}", "';--", "<b>", "../", "=1+1", "\r\n", "9" * 400, "-1",
    "1e308", "NaN", '"', ",", "  ", "Ω", "null", "٣", "½", "31/31/2026", "0", "a" * 3000,
)  # fmt: skip
Dumper: type[Any] = getattr(yaml, "CSafeDumper", yaml.SafeDumper)
NOT_A_NUMBER = float("nan")
VALUES: tuple[Any, ...] = (
    None,
    True,
    -1,
    0,
    1e308,
    float("nan"),
    "",
    "9" * 400,
    [],
    {},
    [[]],
    {"min": 3, "max": 1},
    "\0",
)
CUSTOMERS = "name,phone,email,level\nMaya Okoro,(202) 555-0143,maya@club.example,recreational\nBo Tarn,202 555 0144,,\n"
CATALOGUE = "product,material,gauge\nOrchard 16,synthetic_gut,1.30\nHollow 17,polyester,1.25\n"


@dataclass
class Findings:
    """What came of it."""

    tried: dict[str, int] = field(default_factory=dict)
    faults: list[str] = field(default_factory=list)
    slowest: dict[str, float] = field(default_factory=dict)
    """Seconds of processor time of the slowest input at each door."""


def spoil(text: str, chance: random.Random) -> str:
    """Return a text with a few random changes: pieces cut, doubled, swapped, or something strange put in."""
    for _ in range(chance.randint(1, 4)):
        start, end = sorted(chance.randint(0, len(text)) for _ in range(2))
        end = min(end, start + 12)
        piece = chance.choice(("", text[start:end] * 2, text[start:end][::-1], chance.choice(STRANGE)))
        text = text[:start] + piece + text[end:]
    return text


def spoil_facts(facts: Mapping[str, Any], chance: random.Random) -> Any:
    """Return facts with a value, a key or everything changed."""
    spoilt = dict(facts)
    for _ in range(chance.randint(1, 3)):
        key = chance.choice([*spoilt, "unknown", "today", "words", "x"])
        kind = chance.random()
        if kind < 0.5:
            spoilt[key] = chance.choice(VALUES)
        elif kind < 0.8:
            spoilt[key] = spoil(str(spoilt.get(key, "")), chance)
        else:
            spoilt.pop(key, None)
    return chance.choice((spoilt, spoilt, spoilt, [spoilt], chance.choice(VALUES)))


def spoil_yaml(text: str, chance: random.Random) -> str:
    """Return a file of the book with some of its places deleted, doubled, exchanged or given what nobody writes."""
    content = yaml.load(text, Loader=PlainLoader)  # noqa: S506 - a safe loader
    for _ in range(chance.randint(1, 3)):
        places = list(list_places(content))
        node, key = chance.choice(places)
        kind = chance.random()
        if kind < 0.2:
            del node[key]
        elif kind < 0.35 and isinstance(node, list):
            node.insert(key, node[key])
        elif kind < 0.6:
            other, place = chance.choice(places)
            node[key] = copy.deepcopy(other[place])
        elif kind < 0.7:
            node[key] = nest(node[key], chance.choice((3, 19, 40, 150)))
        else:
            node[key] = chance.choice((*VALUES, 10**400, -(10**30), "x" * 5_000, list(range(2_000)), "{every!r:>9}"))
        if not content:
            break
    # The same object twice is written as an alias.
    alias = {"a": content, "b": content} if chance.random() < 0.05 else content
    return yaml.dump(alias, Dumper=Dumper, sort_keys=False, allow_unicode=True, width=100)


def list_places(node: Any) -> Iterator[tuple[Any, Any]]:
    """Yield every place inside a content, as what holds it and its key there."""
    keys = list(node) if isinstance(node, dict) else range(len(node)) if isinstance(node, list) else ()
    for key in keys:
        yield node, key
        yield from list_places(node[key])


def nest(value: Any, depth: int) -> Any:
    """Return a value within so many lists."""
    for _ in range(depth):
        value = [value]
    return value


@lru_cache(maxsize=1)
def book_tables() -> frozenset[str]:
    """Return the tables of the rulebook, by which a fault is named that shows only when it decides."""
    return frozenset(load_book().tables)


@dataclass
class Doors:
    """Everything that takes something in from outside, on one database in memory."""

    counter: Counter
    chance: random.Random
    lines: list[str]
    facts: list[Mapping[str, Any]]
    folder: Path
    """Where rulebooks are written to be read again."""
    cases: tuple[Case, ...] = field(default_factory=load_cases)
    slots: tuple[str | None, ...] = ()
    """What may have been asked for."""
    turns: int = 0

    def talk(self) -> tuple[str, Callable[[], object]]:
        """Return a spoilt line and its turn in a conversation that goes on."""
        text = spoil(self.chance.choice(self.lines), self.chance)
        self.turns += 1
        sender = f"s{self.turns // TURNS_A_TALK}"
        conversation = Conversation(Services(self.counter.store, self.counter.book), understand, strict=True)
        channel = self.chance.choice(("typed", "voice"))
        return text, lambda: conversation.handle(Message(text, sender, channel=channel, today=TODAY))[-1].text[0]

    def hear(self) -> tuple[str, Callable[[], object]]:
        """Return a spoilt line and what it means, whatever was asked."""
        text = spoil(self.chance.choice(self.lines), self.chance)
        asked, channel = self.chance.choice(self.slots), self.chance.choice(("typed", "voice"))
        return f"{asked} {text}", lambda: understand(text, asked=asked, channel=channel, today=TODAY).intent

    def decide(self) -> tuple[str, Callable[[], object]]:
        """Return spoilt facts and their decision as JSON."""
        facts = spoil_facts(self.chance.choice(self.facts), self.chance)
        return repr(facts), lambda: json.dumps(decide_facts(facts, Settings("sqlite://", TODAY)))

    def take_customers(self) -> tuple[str, Callable[[], object]]:
        """Return a spoilt customer list and its import."""
        raw = self._spoil_bytes(CUSTOMERS)
        return repr(raw), lambda: import_customers(self.counter, raw).to_dict()

    def take_catalogue(self) -> tuple[str, Callable[[], object]]:
        """Return a spoilt string list and its import."""
        raw = self._spoil_bytes(CATALOGUE)
        return repr(raw), lambda: import_catalogue(self.counter, raw).to_dict()

    def take_book(self) -> tuple[str, Callable[[], object]]:
        """Return a rulebook with one of its files spoilt, and its reading, its check and a decision by it."""
        name = self.chance.choice((*BOOK_FILES, *OPTIONAL_FILES))
        text = (BOOK_FOLDER / name).read_text("utf-8")
        if name in OPTIONAL_FILES:
            text = text.replace("\n#  ", "\n  ")
        text = spoil_yaml(text, self.chance) if self.chance.random() < 0.7 else spoil(text, self.chance)
        (self.folder / name).write_text(text, "utf-8", errors="replace")
        case = self.chance.choice(self.cases)

        def use() -> object:
            try:
                book = load_book.__wrapped__(self.folder)
                problems = (*find_gaps_and_overlaps(book), *find_dead_rows(book))
                return problems or explain(decide(case.read_facts(book), book, PlainEngine()), book)
            except BookError as error:
                if error.file not in (*BOOK_FILES, *OPTIONAL_FILES, *book_tables()):
                    raise
                return str(error)
            except FactRefused as refused:
                return refused.message
            finally:
                shutil.copy(BOOK_FOLDER / name, self.folder / name)

        return f"{name}: {text}", use

    def _spoil_bytes(self, text: str) -> bytes:
        encoding = self.chance.choice(("utf-8", "utf-16", "latin-1", "utf-8-sig"))
        raw = bytearray(spoil(text, self.chance).encode(encoding, "replace"))
        for _ in range(self.chance.randint(0, 3)):
            raw[self.chance.randrange(len(raw))] = self.chance.randrange(256)
        return bytes(raw)


def fuzz(seconds: float, seed: int, least: int = 1) -> Findings:
    """Try spoilt input at one door after the other until the time is over and each was tried so often."""
    chance, found = random.Random(seed), Findings()  # noqa: S311 - no secret
    cases = [case for path in CASES_FOLDER.glob("*.yaml") for case in yaml.safe_load(path.read_text("utf-8"))["cases"]]
    with ExitStack() as stack:
        store = stack.enter_context(open_store("sqlite://"))
        counter = Counter(store, load_book(), TODAY, "fuzz")
        folder = Path(stack.enter_context(TemporaryDirectory()))
        shutil.copytree(BOOK_FOLDER, folder, dirs_exist_ok=True)
        corpus = read_corpus()
        lines, slots = [line.text for line in corpus], tuple({line.asked: None for line in corpus})
        doors = Doors(counter, chance, lines, [case["facts"] for case in cases], folder, slots=slots)
        # Cues and phrases are read once, before the clock runs.
        understand("hello", today=TODAY)
        web = stack.enter_context(open_web_doors(chance, spoil))
        ways = (doors.talk, doors.decide, doors.decide, doors.take_customers, doors.take_catalogue, doors.take_book)
        ways += (web.send_form,) * 3 + (web.give_pin,)
        # Cheap ones are tried more often.
        ways = (doors.hear,) * HEARD + (doors.decide,) * DECIDED + ways
        ends = time.monotonic() + seconds
        for name, given, call in _endless(ways):
            if time.monotonic() > ends and all(found.tried.get(way.__name__, 0) >= least for way in ways):
                return found
            _try(name, given, call, found)
    return found


def _endless(
    ways: tuple[Callable[[], tuple[str, Callable[[], object]]], ...],
) -> Iterator[tuple[str, str, Callable[[], object]]]:
    while True:
        for way in ways:
            yield way.__name__, *way()


def _try(name: str, given: str, call: Callable[[], object], found: Findings) -> None:
    slow = False
    try:
        taken = _time(call)
        if taken > LONGEST:
            # What was only read for the first time, or cleared away meanwhile, does not take so long again, and a
            # machine that is busy or traced takes longer for everything.
            taken = min(taken, _time(call))
            slow = taken > LONGEST * max(1.0, measure_slowness())
    except Exception:  # noqa: BLE001 - whatever it is, it is what is looked for
        found.faults.append(f"{name} {given[:300]!r}\n{traceback.format_exc(limit=-4)}")
        taken = 0.0
    found.tried[name] = found.tried.get(name, 0) + 1
    found.slowest[name] = max(found.slowest.get(name, 0.0), taken)
    if slow:
        found.faults.append(f"{name} took {taken:.1f} s for {given[:300]!r}")


def measure_slowness() -> float:
    """Return how many times as long as usual this machine takes just now for an ordinary line."""
    taken = sorted(_time(lambda: understand(ORDINARY_LINE, today=TODAY)) for _ in range(50))
    return taken[len(taken) // 2] / ORDINARY_SECONDS


def _time(call: Callable[[], object]) -> float:
    began = time.process_time()
    call()
    return time.process_time() - began


if __name__ == "__main__":
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--seconds", type=float, default=300)
    parser.add_argument("--seed", type=int, default=int(time.time()))
    given = parser.parse_args()
    ended = fuzz(given.seconds, given.seed)
    slow = {name: round(seconds, 3) for name, seconds in ended.slowest.items()}
    print(f"seed {given.seed}: {ended.tried}, slowest {slow} s, {len(ended.faults)} faults")  # noqa: T201 - the figure
    print("\n".join(ended.faults[:10]))  # noqa: T201
    sys.exit(bool(ended.faults))
