"""What differs between two editions of the rulebook, and between the answers they give; decides nothing itself."""

from __future__ import annotations

from collections.abc import Container, Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from rules.decision import Decision
from rules.explain import begin_large, tell_value
from rules.explain_words import ExplainWords, load_words
from rules.rulebook import Rulebook, list_rows

PARTS = (
    "verdict",
    "every",
    "restring_by",
    "window",
    "approximate",
    "loss_percent",
    "energy_percent",
    "needs",
    "cautions",
)
"""The parts of an answer that are compared; the trail is told by its rows."""
ROW_KEYS = ("when", "gives", "says", "source", "asks", "offers", "policy", "followed")


@dataclass(frozen=True)
class EditionChanges:
    """What stands otherwise in another edition."""

    rows_added: tuple[str, ...]
    rows_removed: tuple[str, ...]
    rows_changed: Mapping[str, tuple[str, ...]]
    """The keys that differ, by row."""
    numbers: Mapping[str, tuple[float | None, float | None]]
    """Old and new value by name; None where there is none."""
    lines: tuple[str, ...]
    """All of it in words; none where the editions are the same."""

    def to_dict(self) -> dict[str, Any]:
        """Return the changes as JSON."""
        return {
            "rows_added": list(self.rows_added),
            "rows_removed": list(self.rows_removed),
            "rows_changed": {row: list(keys) for row, keys in self.rows_changed.items()},
            "numbers": {name: list(pair) for name, pair in self.numbers.items()},
            "lines": list(self.lines),
        }


@dataclass(frozen=True)
class AnswerChanges:
    """What another edition answers otherwise, and because of which rows."""

    parts: Mapping[str, tuple[Any, Any]]
    """Old and new value as JSON, by part of the answer."""
    rows_gone: tuple[str, ...]
    rows_new: tuple[str, ...]
    lines: tuple[str, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return the changes as JSON."""
        return {
            "parts": {part: list(pair) for part, pair in self.parts.items()},
            "rows_gone": list(self.rows_gone),
            "rows_new": list(self.rows_new),
            "lines": list(self.lines),
        }


def compare_editions(old: Rulebook, new: Rulebook, only: Container[str] | None = None) -> EditionChanges:
    """Return which rows, numbers, switches and ranges stand otherwise in the new edition.

    Args:
        old: the edition there was.
        new: the edition there is, or may be; it gives the words.
        only: rows to look at; None looks at all.
    """
    words = load_words(new)
    before, after = (
        {row: entry for row, entry in _rows(book).items() if only is None or row in only} for book in (old, new)
    )
    changed = {
        row: keys
        for row in before.keys() & after.keys()
        if (keys := tuple(key for key in ROW_KEYS if before[row].get(key) != after[row].get(key)))
    }
    names = [*old.values, *(name for name in new.values if name not in old.values)]
    numbers = {name: (old.values.get(name), new.values.get(name)) for name in names}
    numbers = {name: pair for name, pair in numbers.items() if pair[0] != pair[1]}
    added, removed = (
        tuple(row for row in one if row not in other) for one, other in ((after, before), (before, after))
    )
    changed = {row: changed[row] for row in after if row in changed}
    lines = [words.say("comparing", "row_added", row=row, says=after[row]["says"]) for row in added]
    lines += [words.say("comparing", "row_removed", row=row, says=before[row]["says"]) for row in removed]
    lines += [words.say("comparing", "row_changed", row=row, keys=", ".join(keys)) for row, keys in changed.items()]
    lines += [_tell_number(name, pair, (old, new), words) for name, pair in numbers.items()]
    lines += list(_tell_settings(old, new, words))
    return EditionChanges(added, removed, changed, numbers, tuple(lines))


def _rows(book: Rulebook) -> dict[str, Mapping[str, Any]]:
    """Return every row as written, by id, in the order of the book."""
    return {row["id"]: row for row in list_rows(book.content)}


def _tell_number(
    name: str, pair: tuple[float | None, float | None], books: tuple[Rulebook, Rulebook], words: ExplainWords
) -> str:
    old, new = pair
    entries = [book.content["values.yaml"]["values"].get(name, {}) for book in books]
    unit = entries[1].get("unit") or entries[0].get("unit", "")
    key = "number_new" if old is None else "number_gone" if new is None else "number"
    told = {side: words.amount(value, unit) for side, value in (("old", old), ("new", new)) if value is not None}
    return words.say("comparing", key, name=name, words=begin_large(words.number(name)), **told)


def _tell_settings(old: Rulebook, new: Rulebook, words: ExplainWords) -> Iterator[str]:
    for name, on in new.policies.items():
        if on != old.policies.get(name, False):
            yield words.say("comparing", "policy_on" if on else "policy_off", name=name, words=words.number(name))
    if new.forecast != old.forecast:
        yield words.say("comparing", "forecast", old=old.forecast, new=new.forecast)
    for name, limits in new.limits.ranges.items():
        before = old.limits.ranges.get(name)
        if before != limits:
            told = [_tell_range(pair, words) for pair in (before, limits)]
            yield words.say("comparing", "limit", name=name, words=words.number(name), old=told[0], new=told[1])
    for name, day in new.limits.settings.items():
        before_day = old.limits.settings.get(name)
        if before_day != day:
            yield words.say("comparing", "days", name=name, words=words.number(name), old=before_day, new=day)
    if old.words != new.words:
        yield words.say("comparing", "words")


def _tell_range(limits: tuple[float, float] | None, words: ExplainWords) -> str:
    if limits is None:
        return words.say("comparing", "nothing")
    low, high = (words.figure(end) for end in limits)
    return str(words.book.words["span"].format(low=low, high=high))


def compare_answers(old: Decision, new: Decision, book: Rulebook) -> AnswerChanges:
    """Return what the new answer says otherwise than the old one, and which rows make it.

    Args:
        old: the answer there was.
        new: the answer there would be.
        book: the edition of the new answer; it gives the words.
    """
    words = load_words(book)
    before, after = (_parts(decision) for decision in (old, new))
    parts = {part: (before[part], after[part]) for part in PARTS if before[part] != after[part]}
    fired = {step.row for step in old.trail}
    fires = {step.row for step in new.trail}
    gone = [step for step in old.trail if step.row not in fires]
    come = [step for step in new.trail if step.row not in fired]
    lines = [
        words.say("comparing", "part", part=words.spec.comparing["parts"][part], old=told[0], new=told[1])
        for part, told in ((part, _tell_pair(part, pair, words)) for part, pair in parts.items())
    ]
    lines += [words.say("comparing", "row_gone", row=step.row, says=step.says) for step in gone]
    lines += [words.say("comparing", "row_new", row=step.row, says=step.says) for step in come]
    if not lines and old.to_dict()["trail"] == new.to_dict()["trail"]:
        lines.append(words.say("comparing", "same"))
    rows_gone, rows_new = (tuple(step.row for step in steps) for steps in (gone, come))
    return AnswerChanges(parts, rows_gone, rows_new, tuple(lines))


def _parts(decision: Decision) -> dict[str, Any]:
    answer = decision.to_dict()
    return {**{part: answer[part] for part in PARTS}, "needs": [need["fact"] for need in answer["needs"]]}


def _tell_pair(part: str, pair: Sequence[Any], words: ExplainWords) -> list[str]:
    if part == "verdict":
        return [words.verdict(verdict) for verdict in pair]
    if part == "needs":
        pair = [[words.fact(fact) for fact in facts] for facts in pair]
    nothing = words.say("comparing", "nothing")
    return [tell_value(value, words) if value not in (None, []) else nothing for value in pair]
