"""A stored consultation decided again: with its own edition, byte for byte, and with another one; keeps nothing."""

from __future__ import annotations

import json
from dataclasses import dataclass
from typing import Any

from dialogue.rulebooks.editions import open_edition
from rules.chain import decide
from rules.comparing import AnswerChanges, EditionChanges, compare_answers, compare_editions
from rules.decision import Decision
from rules.facts import Facts
from rules.intake import parse_facts
from rules.rulebook import Rulebook
from storage.database import Store
from storage.rows import ConsultationRow


@dataclass(frozen=True)
class Replay:
    """A consultation decided again with the edition that decided it."""

    stored: ConsultationRow
    book: Rulebook
    """The edition that decided it."""
    facts: Facts
    decision: Decision

    @property
    def again(self) -> str:
        """The answer of today's run as one line of JSON."""
        return json.dumps(self.decision.to_dict(), ensure_ascii=False, allow_nan=False)

    @property
    def same(self) -> bool:
        """Whether it is the stored answer, byte for byte."""
        return self.again == json.dumps(dict(self.stored.decision), ensure_ascii=False, allow_nan=False)

    def differences(self) -> AnswerChanges:
        """Return what differs from the stored answer."""
        return compare_answers(Decision.from_dict(self.stored.decision), self.decision, self.book)


@dataclass(frozen=True)
class Retaken:
    """The same facts decided with another edition."""

    decision: Decision
    answers: AnswerChanges
    editions: EditionChanges
    """What stands otherwise in the rows both answers rest on, and in the numbers and switches."""

    def to_dict(self) -> dict[str, Any]:
        """Return it as JSON."""
        return {
            "decision": self.decision.to_dict(),
            "answers": self.answers.to_dict(),
            "because": self.editions.to_dict(),
        }


def replay(store: Store, number: int) -> Replay:
    """Return a stored consultation decided again with its own edition of the rulebook.

    Raises:
        NotFound: when there is no such consultation, or its edition is lost.
        BookError: when this program can no longer read the edition.
        FactRefused: when it can no longer read the facts.
    """
    with store.view() as unit:
        stored = unit.consultations.get(number)
        book = open_edition(unit, stored.rulebook)
    facts = parse_facts(stored.facts, today=stored.today, limits=book.limits)
    return Replay(stored, book, facts, decide(facts, book))


def retake(replayed: Replay, book: Rulebook) -> Retaken:
    """Return what another edition answers to the same facts on the same day, what differs and why.

    Raises:
        FactRefused: when the other edition does not allow a fact.
    """
    facts = parse_facts(replayed.stored.facts, today=replayed.stored.today, limits=book.limits)
    decision = decide(facts, book)
    answers = compare_answers(Decision.from_dict(replayed.stored.decision), decision, book)
    rows = {step.row for step in (*replayed.decision.trail, *decision.trail)}
    return Retaken(decision, answers, compare_editions(replayed.book, book, rows))
