"""The worked advice in cases/advice: facts and printed range beside strings, pull and rows; advises nothing itself."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from pydantic import Field as Setting

from rules.advice import StringAdvice
from rules.book_format import Strict
from rules.casebook import CASES_FOLDER, read_specs
from rules.facts import Facts, Span
from rules.intake import parse_facts
from rules.rulebook import Rulebook

FILE = CASES_FOLDER / "advice" / "advice.yaml"
ANY_DAY = dt.date(2026, 11, 25)
"""Advice reads no day."""


class _ExpectSpec(Strict):
    mains: str
    crosses: str
    tension_lb: float | int | None


class _CaseSpec(Strict):
    name: str = Setting(min_length=3)
    why: str = Setting(min_length=3)
    facts: dict[str, Any]
    printed_lb: list[float | int] | None
    expect: _ExpectSpec
    needs: list[str]
    rows: list[str] = Setting(min_length=1)


@dataclass(frozen=True)
class AdviceCase:
    """One customer who does not know, with the advice that must be given."""

    name: str
    why: str
    facts: Mapping[str, Any]
    """Facts as JSON."""
    printed_lb: Span | None
    expected: Mapping[str, Any]
    """Strings, pull, needs and rows."""

    def read_facts(self, book: Rulebook) -> Facts:
        """Return the facts, parsed and checked.

        Raises:
            FactRefused: when a fact cannot be.
        """
        return parse_facts(self.facts, today=ANY_DAY, limits=book.limits)


def load_advice_cases(path: Path = FILE) -> tuple[AdviceCase, ...]:
    """Return every worked advice as written.

    Raises:
        BookError: names the file, the case and the remedy.
    """
    found = []
    for _, case in read_specs(path, _CaseSpec):
        printed = Span(float(case.printed_lb[0]), float(case.printed_lb[1])) if case.printed_lb else None
        expected = {**case.expect.model_dump(), "needs": case.needs, "rows": case.rows}
        found.append(AdviceCase(case.name, case.why, case.facts, printed, expected))
    return tuple(found)


def as_worked_out(case: AdviceCase, advice: StringAdvice | None) -> bool:
    """Tell whether an advice is in every part as the case says."""
    if advice is None:
        return False
    given: dict[str, Any] = {"mains": advice.mains, "crosses": advice.crosses, "tension_lb": advice.tension_lb}
    given |= {"needs": [need.fact for need in advice.needs], "rows": [step.row for step in advice.trail]}
    return given == dict(case.expected)
