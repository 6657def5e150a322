"""Tries an edition on every worked situation: whether it decides at all, and how often as worked out."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from typing import Any

from rules.advice import STRINGS, advise_strings
from rules.advice_cases import as_worked_out, load_advice_cases
from rules.casebook import find_differences, load_cases
from rules.chain import decide
from rules.errors import FactRefused, RulesError
from rules.rulebook import Rulebook, build_book


@dataclass(frozen=True)
class Trial:
    """What became of an edition on the worked situations."""

    tried: int = 0
    as_worked_out: int = 0
    """How many came out as a person worked them out by the rulebook that comes along."""
    refused: int = 0
    """How many hold a fact that the edition's limits refuse."""
    advised: int = 0
    advised_as_worked_out: int = 0
    """Of so many customers who do not know which strings to take, how many are advised as a person worked it out."""
    problem: str = ""
    """What went wrong, as a sentence; empty where nothing did."""


def run_trial(content: Mapping[str, Any]) -> Trial:
    """Return what becomes of an edition's content on every worked situation that no other edition is for.

    Raises:
        BookError: when the content is no rulebook.
    """
    book = build_book(content)
    tried = alike = refused = 0
    for case in load_cases():
        if case.policies:
            continue
        try:
            decision = decide(case.read_facts(book), book)
        except FactRefused:
            refused += 1
            continue
        except RulesError as error:
            return Trial(tried, alike, refused, problem=f"{error} (tried on: {case.name})")
        tried += 1
        alike += not find_differences(case, decision)
    return _try_advice(book, Trial(tried, alike, refused))


def _try_advice(book: Rulebook, trial: Trial) -> Trial:
    """Return the trial with what became of the worked advice, where the edition gives advice at all."""
    advised = alike = 0
    for case in load_advice_cases() if STRINGS in book.tables else ():
        try:
            advice = advise_strings(case.read_facts(book), book, case.printed_lb)
        except FactRefused:
            continue
        except RulesError as error:
            return replace(trial, problem=f"{error} (tried on: {case.name})")
        advised += 1
        alike += as_worked_out(case, advice)
    return replace(trial, advised=advised, advised_as_worked_out=alike)
