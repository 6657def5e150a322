"""What is said to measure the ears, from two files of phrases; says nothing of how they are heard."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from itertools import count
from pathlib import Path
from typing import Any

import yaml
from num2words import num2words

FOLDER = Path(__file__).parent
TUNED, UNSEEN = "voice_phrases.yaml", "voice_unseen.yaml"
"""The phrases that the ears were tuned by, and those that they are judged by."""
FIGURE = "n"
TIMES = {TUNED: 4, UNSEEN: 8}
"""After how many questions each piece of small talk is said."""


@dataclass(frozen=True)
class Phrase:
    """One thing to say, and what must be understood."""

    asked: str | None
    say: str
    slots: Mapping[str, Any]
    intent: str | None = None


class _Loader(yaml.SafeLoader):
    """YAML in which dates stay text."""


_Loader.yaml_implicit_resolvers = {
    letter: [pair for pair in resolvers if pair[0] != "tag:yaml.org,2002:timestamp"]
    for letter, resolvers in yaml.SafeLoader.yaml_implicit_resolvers.items()
}


@cache
def read_table(file: str) -> Mapping[str, Any]:
    """Return what stands in a file of phrases."""
    table: Mapping[str, Any] = yaml.load((FOLDER / file).read_text(encoding="utf8"), Loader=_Loader)  # noqa: S506 - a safe loader
    return table


TODAY = dt.date.fromisoformat(read_table(TUNED)["today"])


def read_phrases(file: str = UNSEEN) -> tuple[Phrase, ...]:
    """Return every phrase of every question."""
    table, turn = read_table(file), count()
    return tuple(
        phrase
        for question, rows in table["questions"].items()
        for row in rows
        for phrase in _fill(None if question == "nothing_asked" else question, row, table, turn)
    )


def read_off_topic(file: str = UNSEEN) -> tuple[Phrase, ...]:
    """Return talk that answers nothing, each said after every one of some questions in turn."""
    table = read_table(file)
    questions = table["asked_off_topic"]
    return tuple(
        Phrase(questions[index % len(questions)], say, {})
        for index, say in enumerate(say for say in table["off_topic"] for _ in range(TIMES[file]))
    )


def agrees(slots: Mapping[str, Any], phrase: Phrase) -> bool:
    """Tell whether the values are those of the phrase; of dates and readings only the value counts."""
    return {name: _bare(value) for name, value in slots.items()} == {
        name: _bare(value) for name, value in phrase.slots.items()
    }


def _bare(value: Any) -> Any:
    if isinstance(value, Mapping):
        if {"approx", "kind"} & set(value):
            return value["value"]
        if value.get("relative_to") and value["value"] == 0:
            return "same"
    return sorted(value) if isinstance(value, list) else value


def _fill(asked: str | None, row: Mapping[str, Any], table: Mapping[str, Any], turn: Iterator[int]) -> Iterator[Phrase]:
    """Yield a row's phrase for its figures; of a list of the file only so many values, each row beginning elsewhere."""
    found = re.search(r"{(\w+)}", row["say"])
    values: list[tuple[str, Any]] = [("", None)]
    if found and found[1] == FIGURE:
        values = [(num2words(figure).replace("-", " "), figure) for figure in row[FIGURE]]
    elif found:
        known = list(table["values"][found[1]].items())
        values = [known[next(turn) % len(known)] for _ in range(min(table["most"], len(known)))]
    for words, value in values:
        say = row["say"].replace(found[0], words) if found else row["say"]
        slots = _figured(row.get("slots", {}), found[1], value) if found else row.get("slots", {})
        yield Phrase(asked, say, slots, row.get("intent"))


def _figured(stands: Any, name: str, value: Any) -> Any:
    if isinstance(stands, Mapping):
        return {key: _figured(part, name, value) for key, part in stands.items()}
    if stands == f"${name}":
        return value
    return stands.replace(f"${name}", str(value)) if isinstance(stands, str) else stands
