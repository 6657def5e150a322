"""The phrases of voice_phrases.yaml, each figure filled in; says nothing of how they are heard."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import yaml
from num2words import num2words

FILE = Path(__file__).with_suffix(".yaml")


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
TABLE = yaml.load(FILE.read_text(encoding="utf8"), Loader=_Loader)  # noqa: S506 - a safe loader
TODAY = dt.date.fromisoformat(TABLE["today"])


def read_phrases() -> tuple[Phrase, ...]:
    """Return every phrase of every question."""
    return tuple(
        phrase
        for question, rows in TABLE["questions"].items()
        for row in rows
        for phrase in _fill(None if question == "nothing_asked" else question, row)
    )


def read_off_topic() -> tuple[Phrase, ...]:
    """Return talk that answers nothing, each said after every one of some questions in turn."""
    questions = TABLE["asked_off_topic"]
    return tuple(
        Phrase(questions[index % len(questions)], say, {})
        for index, say in enumerate(say for say in TABLE["off_topic"] for _ in range(4))
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


def _fill(asked: str | None, row: Mapping[str, Any]) -> Iterator[Phrase]:
    for figure in row.get("n", [None]):
        words = "" if figure is None else num2words(figure).replace("-", " ")
        yield Phrase(asked, row["say"].replace("{n}", words), _figured(row.get("slots", {}), figure), row.get("intent"))


def _figured(value: Any, figure: int | None) -> Any:
    if isinstance(value, Mapping):
        return {name: _figured(part, figure) for name, part in value.items()}
    if value == "$n":
        return figure
    if isinstance(value, str):
        return value.replace("$n", str(figure))
    return value
