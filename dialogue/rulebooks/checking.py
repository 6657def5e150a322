"""Whether an edition may be used: no gap, no overlap, no row that never counts; switches nothing."""

from __future__ import annotations

from dataclasses import dataclass

from dialogue.rulebooks.trial import try_book
from rules.comparing import compare_editions
from rules.coverage import find_dead_rows, find_gaps_and_overlaps, find_unused
from rules.rulebook import Rulebook
from rules.trial import Trial

MOST_GAPS = 5
"""Combinations without an answer that are named; one missing row leaves many."""


@dataclass(frozen=True)
class BookReport:
    """What was found in one edition."""

    problems: tuple[str, ...]
    """Each stops the edition from being used."""
    remarks: tuple[str, ...]
    """What is odd and stops nothing."""
    rows: int
    trial: Trial


def check_book(book: Rulebook) -> BookReport:
    """Return what is wrong with an edition that could be read, after every combination of inputs was tried."""
    gaps = [problem.describe() for problem in find_gaps_and_overlaps(book)]
    problems = gaps[:MOST_GAPS]
    if len(gaps) > MOST_GAPS:
        problems.append(f"and {len(gaps) - MOST_GAPS} more of this kind")
    problems += [problem.describe() for problem in find_dead_rows(book)]
    trial = try_book(book)
    if trial.problem:
        problems.append(trial.problem)
    rows = sum(len(table.rows) for table in book.tables.values())
    return BookReport(tuple(problems), find_unused(book), rows, trial)


def list_changes(old: Rulebook, new: Rulebook) -> tuple[str, ...]:
    """Return what stands otherwise in the new edition, in words."""
    return compare_editions(old, new).lines
