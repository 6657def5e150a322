"""Runs the rulebook's tables as durable-rules rulesets; the only module that knows the engine's ways."""

from __future__ import annotations

import importlib
import itertools
import threading
from collections.abc import Callable
from functools import lru_cache
from typing import Any, Protocol

from rules.book_format import Scalar
from rules.errors import RulesError
from rules.evaluator import PlainEngine, Values
from rules.rulebook import Cell, Row, Rulebook, Table

try:
    durable_engine: Any = importlib.import_module("durable.engine")
except ImportError:  # durable-rules cannot be built for this Python
    durable_engine = None

CATCH_ALL_PRIORITY = 65000
DECIMALS = 4
"""Numbers go in rounded: a figure such as 1e-7 is refused by the engine."""


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
    """Fires rows through durable-rules: one ruleset a table, a new session a decision."""

    name = "durable"

    def __init__(self) -> None:
        self._host = _make_quiet_host()
        self._lock = threading.Lock()
        self._sessions = itertools.count(1)
        self._loaded: set[str] = set()
        self._fired: list[Row] = []

    def fire(self, book: Rulebook, table: str, values: Values) -> tuple[Row, ...]:
        """Return the rows of a table that fire, in table order.

        Raises:
            RulesError: when the engine fails.
        """
        ruleset = f"{table}@{book.hash}"
        with self._lock:
            if ruleset not in self._loaded:
                self._host.set_rulesets({ruleset: _compile(book.tables[table], self._fired)})
                self._loaded.add(ruleset)
            return self._run(ruleset, values)

    def _run(self, ruleset: str, values: Values) -> tuple[Row, ...]:
        session = f"s{next(self._sessions)}"
        self._fired.clear()
        facts = {name: _encode(value) for name, value in values.items()}
        # A session in which no action ever ran must not be deleted: the priming fact makes one run.
        self._host.assert_facts(ruleset, [{"entry": "begin", "sid": session, "id": "b0"}])
        try:
            self._host.assert_facts(ruleset, [{**facts, "entry": "values", "sid": session, "id": "v1"}])
            state = self._host.get_state(ruleset, session)
            if state and state.get("exception"):
                raise RulesError(f"The rules engine failed in {ruleset}: {state['exception']}")
        finally:
            self._host.delete_state(ruleset, session)
        return tuple(sorted(self._fired, key=lambda row: row.order))


def _make_quiet_host() -> Any:
    class QuietHost(durable_engine.Host):  # type: ignore[misc] # the engine has no types
        """A host without its timer threads, which steal actions from the caller's thread."""

        def _run(self) -> None:
            return

    return QuietHost()


def _encode(value: Scalar) -> str | float | int:
    if isinstance(value, bool):
        return str(value).lower()
    return round(value, DECIMALS) if isinstance(value, float) else value


def _compile(table: Table, fired: list[Row]) -> dict[str, Any]:
    rows: dict[str, Any] = {
        row.id: {
            "pri": row.order + 1,
            "all": [{"m": {"$and": [{"entry": "values"}, *_conditions(row)]} if row.when else {"entry": "values"}}],
            "run": _logger(row, fired),
        }
        for row in table.rows
    }
    rows["catch-all"] = {"pri": CATCH_ALL_PRIORITY, "all": [{"m": {"$ex": {"entry": 1}}}], "run": _ignore}
    return rows


def _conditions(row: Row) -> list[dict[str, Any]]:
    return [condition for name, cell in row.when.items() for condition in _cell_conditions(name, cell)]


def _cell_conditions(name: str, cell: Cell) -> list[dict[str, Any]]:
    if cell.one_of:
        options = [{name: _encode(option)} for option in cell.one_of]
        return options if len(options) == 1 else [{"$or": options}]
    bounds = {"$gte": cell.at_least, "$gt": cell.more_than, "$lte": cell.at_most, "$lt": cell.below}
    return [{operator: {name: _encode(bound)}} for operator, bound in bounds.items() if bound is not None]


def _logger(row: Row, fired: list[Row]) -> Callable[[Any], None]:
    # A second parameter would make the engine take the callback for an asynchronous one.
    def log(_: Any) -> None:
        fired.append(row)

    return log


def _ignore(_: Any) -> None:
    return
