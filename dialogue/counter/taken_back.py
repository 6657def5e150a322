"""What the entries of an undo took back, said in the trade's words; takes nothing back itself."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from dialogue.counter.wording import Wording
from storage.errors import NotFound
from storage.rows import AuditRow, JobStatus
from storage.unit_of_work import UnitOfWork

Values = Mapping[str, Any]
ADDED, REMOVED, CHANGED = "added", "removed", "changed"
WAYS: Mapping[str, str] = {"remove": ADDED, "create": REMOVED, "update": CHANGED}
"""What an entry of an undo took back: a row that it removes had been added."""
RANKS = ("string_job", "reading", "league_member", "league_season", "league", "reminder", "customer", "racquet")
"""What is named first; all else follows in the order it was taken back."""
MOST_NAMED = 8
"""Of a whole list taken back the first few are named, and the rest counted."""
CUT_LINK = "consultation"
"""A decision stays; that its links are cut is worth a word only where nothing else was taken back."""


def tell_taken_back(unit: UnitOfWork, entries: Sequence[AuditRow], wording: Wording) -> tuple[str, ...]:
    """Return a few words for each thing that an undo took back, the weightiest first, each once.

    Args:
        unit: where what is left is looked up.
        entries: what the undo wrote.
        wording: the counter's sentences.
    """
    telling = _Telling(unit, entries, wording)
    ranked = sorted(entries, key=lambda entry: RANKS.index(entry.entity) if entry.entity in RANKS else len(RANKS))
    named = list(dict.fromkeys(telling.entry(entry) for entry in ranked if entry.entity != CUT_LINK))
    named = [words for words in named if words] or [wording.say(f"undone.{CUT_LINK}")]
    rest = len(named) - MOST_NAMED
    return (*named[:MOST_NAMED], *([wording.say("undone.more", n=rest)] if rest > 0 else []))


@dataclass(frozen=True)
class _Telling:
    """Words for entries, with what they name looked up among them and in the database."""

    unit: UnitOfWork
    entries: Sequence[AuditRow]
    wording: Wording

    def entry(self, entry: AuditRow) -> str:
        """Return the words for one entry; empty where it only took back what nobody sees."""
        way = WAYS[entry.action]
        if entry.entity == "setting":
            return self._setting(entry)
        row = self._found(entry.entity, entry.entity_id)
        if entry.entity == "string_job":
            return self._stringing(entry, row, way)
        if entry.entity == "reading" and way == ADDED:
            figures = self._figures(row)
            return self.wording.say(f"undone.reading.{row['role']}", racquet=self.of_job(row), figures=figures)
        fields = self._fields(entry)
        if way == CHANGED and entry.entity in {"customer", "racquet"} and not fields:
            return ""
        values = NAMES.get(entry.entity, _by_name)(self, row)
        return self.wording.say(f"undone.{entry.entity}.{way}", fields=fields, **values)

    def _setting(self, entry: AuditRow) -> str:
        name = next((name for name in ("forecast_prior", "rulebook") if entry.entity_id.startswith(name)), "other")
        return self.wording.say(f"undone.setting.{name}")

    def _stringing(self, entry: AuditRow, row: Values, way: str) -> str:
        """Return which step of a stringing was taken back: the one it had come to, or its drop-off."""
        racquet = self._of_racquet(row.get("racquet_id"))
        before, after = entry.before or {}, entry.after or {}
        if way != CHANGED or after.get("status") == JobStatus.CANCELLED:
            # What something rests on is cancelled instead of removed.
            step = "cancelled" if way == REMOVED else "left"
        else:
            step = str(before.get("status") or CHANGED)
        fields = self._fields(entry)
        if step == CHANGED and (not fields or any(_is_step(other) for other in self._of("string_job", row["id"]))):
            return ""
        return self.wording.say(f"undone.string_job.{step}", racquet=racquet, fields=fields)

    def _fields(self, entry: AuditRow) -> str:
        """Return the columns that were changed back, in words, each once."""
        before, after = entry.before or {}, entry.after or {}
        keys = [f"undone.field.{name}" for name in {**before, **after}]
        words = [self.wording.say(key) for key in keys if self.wording.has(key)]
        return ", ".join(dict.fromkeys(words))

    def _figures(self, row: Values) -> str:
        figures = self.wording.value([float(value) for value in row["values"]])
        return self.wording.say(f"undone.kind.{row.get('kind') or 'unnamed'}", n=figures)

    def _of_racquet(self, racquet_id: Any) -> str:
        return self.racquet(self._found("racquet", racquet_id))

    def racquet(self, row: Values) -> str:
        """Return how a racquet is spoken of: by its owner and its name."""
        racquet = row.get("nickname") or self.wording.say("racquet.plain")
        owner = self._found("customer", row.get("customer_id")).get("name")
        if owner is None:
            return self.wording.say("undone.of_nobody", racquet=racquet)
        return self.wording.say("undone.owned", name=owner, racquet=racquet)

    def name_of(self, entity: str, key: Any) -> str:
        """Return the name of a customer or a league."""
        return str(self._found(entity, key).get("name") or self.wording.say("screen.somebody"))

    def of_job(self, row: Values) -> str:
        """Return how the racquet of a row's stringing is spoken of."""
        return self._of_racquet(self._found("string_job", row.get("job_id")).get("racquet_id"))

    def _found(self, entity: str, key: Any) -> Values:
        """Return the columns of a row, as it stands or as it stood before it was taken back; empty where it is gone."""
        whole = (entry.before if entry.action == "remove" else None for entry in self._of(entity, key))
        if removed := next((values for values in whole if values), None):
            return removed
        shelf = getattr(self.unit, SHELVES.get(entity, ""), None)
        if shelf is None or key is None:
            return next((entry.after or entry.before or {} for entry in self._of(entity, key)), {})
        try:
            found: Values = shelf.get(int(key)).to_dict()
        except NotFound:
            return {}
        return found

    def _of(self, entity: str, key: Any) -> Sequence[AuditRow]:
        return self._by_row.get((entity, str(key)), ())

    @cached_property
    def _by_row(self) -> Mapping[tuple[str, str], Sequence[AuditRow]]:
        """The entries by what they are about: of a whole list taken back there are very many."""
        found: dict[tuple[str, str], list[AuditRow]] = {}
        for entry in self.entries:
            found.setdefault((entry.entity, entry.entity_id), []).append(entry)
        return found


def _is_step(entry: AuditRow) -> bool:
    """Tell whether an entry took a stringing's step back, which says all that was changed with it."""
    return WAYS[entry.action] != CHANGED or "status" in (entry.before or {})


SHELVES: Mapping[str, str] = {
    "customer": "customers",
    "racquet": "racquets",
    "string_job": "jobs",
    "reading": "readings",
    "league": "leagues",
    "reminder": "reminders",
    "staff": "staff",
    "catalogue_product": "catalogue",
}
"""Where in a unit of work the rows of an entity are found."""


def _by_name(_: _Telling, row: Values) -> dict[str, Any]:
    return {"name": row.get("name") or ""}


def _membership(telling: _Telling, row: Values) -> dict[str, Any]:
    customer, league = row.get("customer_id"), row.get("league_id")
    return {"name": telling.name_of("customer", customer), "league": telling.name_of("league", league)}


def _season(telling: _Telling, row: Values) -> dict[str, Any]:
    day = row.get("starts_on")
    return {
        "league": telling.name_of("league", row.get("league_id")),
        "day": dt.date.fromisoformat(str(day)) if day else "",
    }


NAMES: Mapping[str, Callable[[_Telling, Values], dict[str, Any]]] = {
    "racquet": lambda telling, row: {"racquet": telling.racquet(row)},
    "reading": lambda telling, row: {"racquet": telling.of_job(row)},
    "reminder": lambda telling, row: {"racquet": telling.of_job(row)},
    "league_member": _membership,
    "league_season": _season,
    "catalogue_product": lambda _, row: {"name": row.get("product") or ""},
}
"""What the words for an entity name."""
