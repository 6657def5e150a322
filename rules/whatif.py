"""Decides again with facts changed, so that "what if ...?" has a true answer."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rules.chain import decide
from rules.decision import Decision
from rules.facts import Facts
from rules.intake import parse_facts
from rules.rulebook import Rulebook


def decide_what_if(facts: Facts, changes: Mapping[str, Any], book: Rulebook) -> Decision:
    """Return the decision for the same facts with some changed; the given facts stay as they are.

    Args:
        facts: what is known.
        changes: facts JSON of what would be different; None takes a fact away.
        book: the rulebook.

    Raises:
        FactRefused: when a changed value cannot be.
    """
    raw = facts.to_dict()
    for side, other in (("mains_material", "crosses_material"), ("crosses_material", "mains_material")):
        if facts.hybrid is False and changes.get(side) is not None and other not in changes:
            # A full bed stays a full bed: the other side follows.
            raw.pop(other, None)
    raw["unknown"] = [fact for fact in raw.get("unknown", []) if changes.get(fact) is None]
    return decide(parse_facts({**raw, **changes}, today=facts.today, limits=book.limits), book)
