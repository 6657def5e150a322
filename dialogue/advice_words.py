"""Words around advice that name strings without wanting them, and a printed range in the unit of its sport."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from dialogue.advising import open_advice
from dialogue.messages import Understanding
from dialogue.racquets import STRING_FACTS

COMPARING = "act.advise_compare"
"""The cue of somebody who asks which of two strings suits, or whether one does."""
WHY = frozenset({"ask_why", "ask_why_question"})
WHY_NOT, MATERIAL, PRINTED = "why_not", "mains_material", "printed_range"
KILOS = re.compile(r"\bk(?:g|gs|ilo|ilos|ilograms?)\b")
STRUNG_LOOSE = frozenset({"badminton", "squash", "racquetball"})
"""Sports whose racquets are strung at 20 to 36 lb, which in tennis can only be kilos."""


def only_compared(heard: Understanding, slots: Mapping[str, Any]) -> Understanding:
    """Return the meaning without strings that are only asked about: compared, or held against what was advised."""
    why = heard.intent in WHY and bool(open_advice(slots))
    if not (why or heard.rule == COMPARING):
        return heard
    said = {slot: value for slot, value in heard.slots.items() if slot not in STRING_FACTS}
    evidence = [piece for piece in heard.evidence if piece.slot not in STRING_FACTS]
    if why:
        asked = [replace(piece, slot=WHY_NOT) for piece in heard.evidence if piece.slot == MATERIAL]
        evidence += asked[:1]
        said |= {piece.slot: piece.value for piece in asked[:1]}
    return replace(heard, slots=said, evidence=tuple(evidence), questions=())


def printed_in_pounds(heard: Understanding, slots: Mapping[str, Any]) -> Understanding:
    """Return the meaning with a low printed range in pounds, where the sport is one that is strung so."""
    printed = heard.slots.get(PRINTED)
    sport = heard.slots.get("sport") or slots["sport"]
    if sport not in STRUNG_LOOSE or printed is None or printed["unit"] != "kg" or KILOS.search(heard.text.casefold()):
        return heard
    value = {**printed, "unit": "lb"}
    evidence = tuple(replace(piece, value=value) if piece.slot == PRINTED else piece for piece in heard.evidence)
    return replace(heard, slots={**heard.slots, PRINTED: value}, evidence=evidence)
