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
    known = {slot: facts[slot] for slot in FACTS if facts.get(slot) is not None}
    return tuple(sentence_case(_say(phrase)) for phrase in facts_phrases(known, list(known)))


def _say(phrase: Any) -> str:
    """Return a phrase filled in; several symptoms are several phrases."""
    if isinstance(phrase, list | tuple):
        return ", ".join(_say(part) for part in phrase)
    domain = load_domain()
    return domain.phrases.fill(phrase["key"], phrase, domain.initial).text
