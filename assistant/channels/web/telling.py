"""Facts in the words of the conversation, for the screens that show what is known; decides nothing."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from dialogue.catalogue import load_domain
from dialogue.phrases import sentence_case
from dialogue.racquets import FACTS
from dialogue.translate import facts_phrases


def tell_facts(facts: Mapping[str, Any]) -> tuple[str, ...]:
    """Return each known fact as people say it, in the order in which they are asked."""
    domain = load_domain()
    known = {slot: facts[slot] for slot in FACTS if facts.get(slot) is not None}
    said = (
        domain.phrases.fill(phrase["key"], phrase, domain.initial).text for phrase in facts_phrases(known, list(known))
    )
    return tuple(sentence_case(text) for text in said)
