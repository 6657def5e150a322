"""The counter's sentences out of phrases/*.yaml, filled with values in the words of the rulebook; decides nothing."""

from __future__ import annotations

import datetime as dt
import string
from collections.abc import Iterable, Mapping
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any

from dialogue.counter.outcomes import Remark, Term
from dialogue.errors import PhraseMissing
from dialogue.yaml_files import read_yaml
from rules.rulebook import Rulebook
from rules.sentences import Words

FOLDER = Path(__file__).parent / "phrases"
PLACES = 4


@lru_cache(maxsize=1)
def read_phrases() -> Mapping[str, str]:
    """Return every phrase by its dotted key: the file's name, then the keys inside it."""
    found: dict[str, str] = {}
    for path in sorted(FOLDER.glob("*.yaml")):
        found |= dict(_flatten(path.stem, read_yaml(path)))
    return found


@dataclass(frozen=True)
class Wording:
    """Fills phrases; a value is said by its type."""

    words: Words
    phrases: Mapping[str, str] = field(default_factory=read_phrases)

    def say(self, key: str, **values: Any) -> str:
        """Return the phrase with its values; where one is named `n` and is one, the phrase `key.one` is preferred.

        Raises:
            PhraseMissing: when there is no such phrase, or it names a value that is not given.
        """
        if values.get("n") == 1 and f"{key}.one" in self.phrases:
            key = f"{key}.one"
        template = self.phrases.get(key) or self.phrases.get(f"{key}.other")
        if template is None:
            raise PhraseMissing(key, "no such phrase; add it to dialogue/counter/phrases")
        try:
            return template.format_map({name: self.value(value) for name, value in values.items()})
        except KeyError as error:
            raise PhraseMissing(key, f"nothing is given for {{{error.args[0]}}}") from error

    def remark(self, remark: Remark) -> str:
        """Return the sentence of a refusal or a remark."""
        return self.say(f"refused.{remark.reason}", **{"fact": remark.fact, **remark.values})

    def has(self, key: str) -> bool:
        """Tell whether there is such a phrase."""
        return key in self.phrases

    def value(self, value: Any) -> str:
        """Return a value as people read it: a day in words, a term of the trade, a number without needless zeros."""
        if isinstance(value, dt.datetime):
            value = (value.astimezone() if value.tzinfo else value).date()
        if isinstance(value, dt.date):
            return self.words.date(value)
        if isinstance(value, Term):
            return self.words.term(value)
        if isinstance(value, float):
            return f"{round(value, PLACES):g}"
        if isinstance(value, list | tuple):
            return ", ".join(self.value(item) for item in value)
        return str(value)


def load_wording(book: Rulebook) -> Wording:
    """Return the counter's sentences in the words of a rulebook."""
    return Wording(Words(book.words))


def placeholders(template: str) -> frozenset[str]:
    """Return the names of the values that a phrase wants."""
    return frozenset(name for _, name, _, _ in string.Formatter().parse(template) if name)


def _flatten(prefix: str, node: Any) -> Iterable[tuple[str, str]]:
    if isinstance(node, Mapping):
        for key, value in node.items():
            yield from _flatten(f"{prefix}.{key}", value)
    elif node is not None:
        yield prefix, str(node)
