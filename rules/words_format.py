"""The format of book/words.yaml: which words the sentences need, and what each may name in braces."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from string import Formatter
from typing import Annotated, Any

from pydantic import AfterValidator, model_validator
from pydantic import Field as Setting

from rules.book_format import Strict, check_spec


def find_placeholders(text: str) -> frozenset[str]:
    """Return the names a text holds in braces.

    Raises:
        ValueError: when a brace is not closed, or a name comes with a format of its own.
    """
    names = set()
    for _, name, layout, conversion in Formatter().parse(text):
        if name is None:
            continue
        if layout or conversion:
            raise ValueError(f"{{{name}}} takes no format; write the name alone")
        names.add(name)
    return frozenset(names)


def _holding(*names: str) -> Callable[[str], str]:
    """Return a check that a text holds just these names in braces."""

    def check(text: str) -> str:
        if find_placeholders(text) != set(names):
            raise ValueError(f"must hold {', '.join(f'{{{name}}}' for name in names)}")
        return text

    return check


Plain = Annotated[str, Setting(min_length=1)]
Counted = Annotated[str, AfterValidator(_holding("n"))]
Ranged = Annotated[str, AfterValidator(_holding("low", "high"))]
Quoted = Annotated[str, AfterValidator(_holding("text"))]
Dated = Annotated[str, AfterValidator(_holding("day", "month", "year"))]


class _EverySpec(Strict):
    month: Plain
    year: Plain
    months: Counted
    range: Ranged
    weeks: Counted
    league: Plain


class _WordsSpec(Strict):
    numbers: list[Plain] = Setting(min_length=1)
    times: dict[str, str]
    every: _EverySpec
    months: list[Plain] = Setting(min_length=12, max_length=12)
    date: Dated
    about: Quoted
    on_day: Quoted
    in_month: Quoted
    span: Ranged
    overdue_days: Counted
    overdue_day: Plain
    overdue_months: Counted
    overdue_month: Plain
    not_known: Plain
    terms: dict[str, Plain]

    @model_validator(mode="after")
    def _counts_other_times(self) -> _WordsSpec:
        if find_placeholders(self.times.get("other", "")) != {"n"}:
            raise ValueError("times needs the word other, with {n} in it")
        return self


def check_words(file: str, data: Any) -> Mapping[str, Any]:
    """Return the words as read, or raise a BookError that names what is missing or wrong."""
    check_spec(file, "words", _WordsSpec, data)
    words: Mapping[str, Any] = data
    return words
