"""The worked situations in cases/: facts beside the decision they must give; computes no decision itself."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import Any

from pydantic import Field as Setting

from rules.book_format import Spec, Strict, check_spec, read_yaml
from rules.decision import Decision, Verdict
from rules.errors import BookError
from rules.facts import Facts
from rules.intake import parse_facts
from rules.rulebook import Rulebook

CASES_FOLDER = Path(__file__).parent / "cases"
ABSENT: Mapping[str, Any] = MappingProxyType(
    {
        "interval": None,
        "restring_by": None,
        "window": None,
        "loss_percent": None,
        "energy_percent": None,
        "approximate": False,
        "needs": [],
        "cautions": [],
    }
)
"""What a case expects of a part of the decision that it does not name."""


class _ExpectSpec(Strict):
    verdict: str
    interval: dict[str, Any] | None = None
    every: str | None = None
    restring_by: str | None = None
    window: list[str] | None = None
    loss_percent: float | int | None = None
    energy_percent: float | int | None = None
    approximate: bool = False
    needs: list[str] = Setting(default_factory=list)
    asked: list[str] = Setting(default_factory=list)
    offers: list[str] = Setting(default_factory=list)
    cautions: list[str] = Setting(default_factory=list)


class _CaseSpec(Strict):
    name: str = Setting(min_length=3)
    why: str = Setting(min_length=3)
    today: str = Setting(pattern=r"^\d{4}-\d\d-\d\d$")
    facts: dict[str, Any]
    policies: list[str] = Setting(default_factory=list)
    expect: _ExpectSpec
    rows: list[str]
    absent: list[str] = Setting(default_factory=list)
    against: list[str] = Setting(default_factory=list)
    says: dict[str, str] = Setting(default_factory=dict)


class _FileSpec(Strict):
    cases: list[Any] = Setting(min_length=1)


@dataclass(frozen=True)
class Case:
    """One situation at the counter with the decision it must give."""

    name: str
    why: str
    """How a person works the answer out, with the arithmetic."""
    today: dt.date
    facts: Mapping[str, Any]
    """Facts as JSON, in the form that parsing accepts."""
    expected: Mapping[str, Any]
    """The parts of the decision as JSON; what the file does not name stands here as absent."""
    rows: tuple[str, ...]
    """Rows that must be among the reasons."""
    absent: tuple[str, ...] = ()
    """Rows that must not be among the reasons."""
    against: tuple[str, ...] = ()
    """All rows that must speak against the verdict."""
    says: Mapping[str, str] = field(default_factory=dict)
    """Whole sentences of some rows, by row."""
    policies: tuple[str, ...] = ()
    """Published advice that the shop of this case has switched on."""
    file: str = ""

    def read_facts(self, book: Rulebook) -> Facts:
        """Return the facts, parsed and checked.

        Raises:
            FactRefused: when a fact cannot be.
        """
        return parse_facts(self.facts, today=self.today, limits=book.limits)


def load_cases(folder: Path = CASES_FOLDER) -> tuple[Case, ...]:
    """Return every case of the folder's YAML files, by file name and then as written.

    Raises:
        BookError: names the file, the case and the remedy.
    """
    found: dict[str, Case] = {}
    for path in sorted(folder.glob("*.yaml")):
        for case in _read_file(path):
            if case.name in found:
                raise BookError(path.name, case.name, "a case of this name stands twice; rename one")
            found[case.name] = case
    if not found:
        raise BookError(str(folder), "file", "holds no cases; put the case files back")
    return tuple(found.values())


def read_specs(path: Path, form: type[Spec]) -> Iterator[tuple[str, Spec]]:
    """Yield the cases of a file in their form, each with the name by which a fault is told.

    Raises:
        BookError: names the file, the case and the remedy.
    """
    for number, entry in enumerate(check_spec(path.name, "file", _FileSpec, read_yaml(path)).cases, 1):
        name = str(entry.get("name", f"case {number}")) if isinstance(entry, dict) else f"case {number}"
        yield name, check_spec(path.name, name, form, entry)


def _read_file(path: Path) -> Iterator[Case]:
    for name, case in read_specs(path, _CaseSpec):
        if case.expect.verdict not in set(Verdict):
            raise BookError(path.name, name, f"there is no verdict {case.expect.verdict!r}; use {', '.join(Verdict)}")
        try:
            today = dt.date.fromisoformat(case.today)
        except ValueError as error:
            raise BookError(path.name, name, f"today: {case.today} is no day of the calendar; correct it") from error
        named = case.expect.model_dump(exclude_unset=True)
        yield Case(
            name=case.name,
            why=case.why,
            today=today,
            facts=case.facts,
            expected={**ABSENT, **named},
            rows=tuple(case.rows),
            absent=tuple(case.absent),
            against=tuple(case.against),
            says=case.says,
            policies=tuple(case.policies),
            file=path.name,
        )


def find_differences(case: Case, decision: Decision) -> tuple[str, ...]:
    """Return a sentence for each part of the decision that is not as the case says; none when all is."""
    answer = decision.to_dict()
    answer["needs"] = [need.fact for need in decision.needs]
    answer["asked"] = [need.fact for need in decision.strengthens if need.ask]
    answer["offers"] = [need.fact for need in decision.strengthens if not need.ask]
    fired = {step.row: step.says for step in decision.trail}
    against = {step.row for step in decision.trail if step.against}
    found = [
        f"{part}: expected {expected!r}, decided {answer[part]!r}"
        for part, expected in case.expected.items()
        if answer[part] != expected
    ]
    found += [f"row {row} did not fire" for row in case.rows if row not in fired]
    found += [f"row {row} fired unexpectedly" for row in case.absent if row in fired]
    found += [
        f"row {row}: expected {text!r}, said {fired.get(row)!r}"
        for row, text in case.says.items()
        if fired.get(row) != text
    ]
    found += [f"row {row} does not speak against the verdict" for row in sorted(set(case.against) - against)]
    found += [f"row {row} speaks against the verdict unexpectedly" for row in sorted(against - set(case.against))]
    return tuple(found)
