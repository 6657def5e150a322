"""Which slot of a form with fixed slots is still to be asked for; knows no rule and no wording."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from dialogue.racquets import STRING_FACTS

CRACK = "crack"
TEXTS = frozenset({"customer_phone", "customer_email", "wish"})
"""Slots in which an empty text is no answer."""
OF_THE_DATE = frozenset({"level", "plays_per_week", "season", "league_start"})
"""Asked for only where the strings get no date without them."""
OF_THE_ADVICE = frozenset(
    {"symptoms", "breaks_strings", "old_strings", "old_tension", "new_strings", "old_frame", "new_frame"}
)
"""Asked for only where advice on strings or tension turns on them."""


def first_missing(slots: Mapping[str, Any], form: Sequence[str]) -> str | None:
    """Return the first slot of a form that must still be asked for."""
    customer = slots["customer"]
    if slots["frame_check"] == CRACK and customer and not slots["seen_by"]:
        # Nobody strings it before a person has looked at it, so nothing else matters.
        return None
    return next((slot for slot in form if _is_missing(slot, slots)), None)


def _is_missing(slot: str, slots: Mapping[str, Any]) -> bool:
    customer = slots["customer"]
    if slot == "customer_name":
        return customer is None and not slots["record"]
    if slot in slots["declined"] or slot in slots["unknown"]:
        return False
    if slot in OF_THE_DATE | OF_THE_ADVICE:
        matters = slot in slots["asks"]
    else:
        matters = {
            "customer_phone": bool(customer) and customer["customer_id"] is None,
            "customer_email": bool(customer) and customer["customer_id"] is None,
            "same_as": recalled_strings(slots),
            "wish": bool(slots["outside"]),
            "reading": "baseline" not in slots["words"],
        }.get(slot, True)
    return matters and not slots[slot] if slot in TEXTS else matters and slots[slot] is None


def recalled_strings(slots: Mapping[str, Any]) -> bool:
    """Tell whether the strings known are those on record, and nobody has said which are wanted."""
    return slots["mains_material"] is not None and bool(slots["record"]) and not said_strings(slots)


def said_strings(slots: Mapping[str, Any]) -> bool:
    """Tell whether strings or tension were said rather than read off a card."""
    return bool(set(STRING_FACTS) & set(slots["words"]))
