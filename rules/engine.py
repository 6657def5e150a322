"""Runs the rulebook's tables as durable-rules rulesets; the only module that knows the engine's ways."""

from __future__ import annotations

import importlib
import itertools
import threading
from bisect import bisect_left
from collections import OrderedDict
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from typing import Any, Protocol

from rules.book_format import Scalar
from rules.errors import RulesError
from rules.evaluator import PlainEngine, Values
from rules.rulebook import Rulebook
from rules.tables import Cell, Row, Table

try:
    durable_engine: Any = importlib.import_module("durable.engine")
except ImportError:  # durable-rules cannot be built for this Python
    durable_engine = None

CATCH_ALL_PRIORITY = 65000
CATCH_ALL = "catch_all"
"""No row can be called so: a row's id holds no underscore."""
VALUES = {"entry": "values"}
"""The mark of the fact that holds a decision's values."""
MOST_ANSWERS = 4096
"""Answers kept for each loaded table."""
MOST_TABLES = 64
"""Tables kept loaded, those of about four editions: each takes memory until it is taken down."""


class Engine(Protocol):
    """Whatever fires rows."""

    name: str

    def fire(self, book: Rulebook, table: str, values: Values) -> tuple[Row, ...]:
        """Return the rows of a table that fire, in table order."""
        ...


@lru_cache(maxsize=1)
def choose_engine() -> Engine:
    """Return the engine this Python can run: durable-rules, else the plain evaluator."""
    return DurableEngine() if durable_engine is not None else PlainEngine()


class DurableEngine:
    """Fires rows through durable-rules: one ruleset a table, a new session a question.

    A table answers on what it is asked alone, and the values reach it as words and places among its bounds: few
    different questions, of which a shop asks the same again and again. What it was asked once it remembers.
    """

    name = "durable"

    def __init__(self, most_answers: int = MOST_ANSWERS) -> None:
        """Keep up to so many answers for each table; 0 asks the engine each time."""
        self._most_answers = most_answers
        self._host = _make_quiet_host()
        self._lock = threading.Lock()
        self._numbers = itertools.count(1)
        self._loaded: OrderedDict[int, _Ruleset] = OrderedDict()
        self._fired: list[Row] = []

    def fire(self, book: Rulebook, table: str, values: Values) -> tuple[Row, ...]:
        """Return the rows of a table that fire, in table order.

        Raises:
            RulesError: when the engine fails.
        """
        with self._lock:
            ruleset = self._load(book.tables[table])
            asked = ruleset.encode_values(values)
            key = frozenset(asked.items())
            answer = ruleset.answers.get(key)
            if answer is None:
                answer = self._run(ruleset, asked)
                if len(ruleset.answers) < self._most_answers:
                    ruleset.answers[key] = answer
            return answer

    def _load(self, table: Table) -> _Ruleset:
        """Return the ruleset of a table, loaded once; takes down the one that has not been used for longest."""
        found = self._loaded.get(id(table))
        if found is None:
            name = f"{table.name}@{next(self._numbers)}"
            found = _Ruleset(name, table, {key: table.bounds(key) for key in table.inputs if table.inputs[key].numeric})
            self._host.set_rulesets({name: _compile(found, self._fired)})
            self._loaded[id(table)] = found
        self._loaded.move_to_end(id(table))
        if len(self._loaded) > MOST_TABLES:
            _, oldest = self._loaded.popitem(last=False)
            self._host.take_down(oldest.name)
        return found

    def _run(self, ruleset: _Ruleset, asked: Mapping[str, str | int]) -> tuple[Row, ...]:
        session = f"s{next(self._numbers)}"
        self._fired.clear()
        try:
            # A session in which no action ever ran must not be deleted: the priming fact makes one run.
            self._host.assert_facts(ruleset.name, [{"entry": "begin", "sid": session, "id": "b0"}])
            try:
                facts = {"entry": "values", "sid": session, "id": "v1", **asked}
                self._host.assert_facts(ruleset.name, [facts])
                problem = (self._host.get_state(ruleset.name, session) or {}).get("exception")
            finally:
                self._host.delete_state(ruleset.name, session)
        except Exception as error:  # the engine has no base of its own for what it raises
            raise RulesError(f"The rules engine failed in {ruleset.table.name}: {error}") from error
        if problem:
            raise RulesError(f"The rules engine failed in {ruleset.table.name}: {problem}")
        return tuple(sorted(self._fired, key=lambda row: row.order))


def _make_quiet_host() -> Any:
    class QuietHost(durable_engine.Host):  # type: ignore[misc] # the engine has no types
        """A host without its timer threads, which steal actions from the caller's thread."""

        def _run(self) -> None:
            return

        def take_down(self, name: str) -> None:
            """Free the memory of a ruleset that has no session."""
            ruleset = self._ruleset_directory.pop(name)
            self._ruleset_list.remove(ruleset)
            durable_engine.durable_rules_engine.delete_ruleset(ruleset._handle)  # noqa: SLF001 - the engine has no other way

    return QuietHost()


@dataclass(frozen=True)
class _Ruleset:
    """A loaded table and how its values are put so that the engine cannot misread them."""

    name: str
    table: Table
    """Kept alive while loaded, for it is found by its identity."""
    bounds: Mapping[str, tuple[float, ...]]
    """Every number at which a row turns, by column."""
    answers: dict[frozenset[tuple[str, str | int]], tuple[Row, ...]] = field(default_factory=dict)
    """The rows that fired, by what was asked."""

    def encode_values(self, values: Values) -> dict[str, str | int]:
        """Return what the engine may compare; a value of the wrong kind is left out, as if it were not known."""
        known = {name: self.encode(name, value) for name, value in values.items() if name in self.table.inputs}
        return {name: value for name, value in known.items() if value is not None}

    def encode(self, name: str, value: Scalar) -> str | int | None:
        """Return a word for a word, and for a number its place among the column's bounds.

        The engine refuses figures such as 1e-7 and takes True for 1; places are small whole numbers that keep
        the order exactly: odd on a bound, even between two.
        """
        if name not in self.bounds:
            return value if isinstance(value, str) else f"={value}".lower()
        if isinstance(value, (str, bool)) or value != value:  # noqa: PLR0124 - only what is no number differs from itself
            return None
        bounds = self.bounds[name]
        place = bisect_left(bounds, value)
        return 2 * place + (place < len(bounds) and bounds[place] == value)


def _compile(ruleset: _Ruleset, fired: list[Row]) -> dict[str, Any]:
    rows: dict[str, Any] = {
        row.id: {
            "pri": row.order + 1,
            "all": [{"m": {"$and": [VALUES, *_conditions(ruleset, row)]} if row.when else VALUES}],
            "run": _logger(row, fired),
        }
        for row in ruleset.table.rows
    }
    rows[CATCH_ALL] = {"pri": CATCH_ALL_PRIORITY, "all": [{"m": {"$ex": {"entry": 1}}}], "run": _ignore}
    return rows


def _conditions(ruleset: _Ruleset, row: Row) -> list[dict[str, Any]]:
    return [condition for name, cell in row.when.items() for condition in _cell_conditions(ruleset, name, cell)]


def _cell_conditions(ruleset: _Ruleset, name: str, cell: Cell) -> list[dict[str, Any]]:
    if cell.one_of:
        options = [{name: ruleset.encode(name, option)} for option in cell.one_of]
        return options if len(options) == 1 else [{"$or": options}]
    bounds = {"$gte": cell.at_least, "$gt": cell.more_than, "$lte": cell.at_most, "$lt": cell.below}
    return [{operator: {name: ruleset.encode(name, end)}} for operator, end in bounds.items() if end is not None]


def _logger(row: Row, fired: list[Row]) -> Callable[[Any], None]:
    # A second parameter would make the engine take the callback for an asynchronous one.
    def log(_: Any) -> None:
        fired.append(row)

    return log


def _ignore(_: Any) -> None:
    return
