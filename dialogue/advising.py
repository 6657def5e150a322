"""Where advice on strings stands in a conversation: open, taken, or none; knows no rule and no wording."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

ADVICE, FEEL, DROP_OFF = "advice_form", "feel_form", "drop_off_form"
OF_TWO_BEDS = "feel"
"""What the sentences on two beds are said to be of, as a row's is of its table."""
ON_THE_CARD = ("advise_", OF_TWO_BEDS)
"""How the names of the tables begin whose sentences a card keeps: a caution was said, and is no note."""
ADVISABLE = frozenset({"same_as", "mains_material", "mains_tension"})
"""What a racquet that is left may be asked for, and be advised on."""
ADVISED_FIRST = frozenset({"same_as", "mains_material"})
"""Asked for these, somebody who wished for advice from the start is advised."""


FEEL_QUESTIONS = frozenset({"old_strings", "old_tension", "new_strings", "old_frame", "new_frame"})
"""What may be asked of two beds that are to feel the same."""
BEGINS: Mapping[str, str] = {"ask_advice": "action_advise", "ask_same_feel": "action_same_feel"}
"""What begins to advise, by what was asked for."""
WEIGHS: Mapping[str, str] = {ADVICE: "action_weigh_advice", FEEL: "action_weigh_feel"}
"""What sees in each form of advice what is still to be asked."""


def open_advice(slots: Mapping[str, Any]) -> Mapping[str, Any] | None:
    """Return the advice that was told and neither taken nor turned down, or None."""
    advice = slots["advice"]
    return advice if advice and advice["told"] and not advice["settled"] else None


def open_tension(slots: Mapping[str, Any]) -> bool:
    """Tell whether a tension was advised for the very strings that are wanted."""
    advice = open_advice(slots)
    if not advice or advice["mains_tension"] is None:
        return False
    crosses = slots["crosses_material"]
    crosses = slots["mains_material"] if crosses in (None, "same_as_mains") else crosses
    wanted = [slots["requested_slot"], slots["mains_material"], crosses]
    return wanted == ["mains_tension", advice["mains_material"], advice["crosses_material"]]


def explains_advice(slots: Mapping[str, Any], loop: str | None) -> bool:
    """Tell whether "why" asks for the reasons of the advice that was told last, or of a question for it."""
    advice = slots["advice"]
    if not advice:
        return False
    if not advice["told"]:
        return loop == ADVICE and slots["requested_slot"] in {need["fact"] for need in advice.get("needs", ())}
    if loop == DROP_OFF:
        return slots["requested_slot"] in ADVISABLE and not advice["settled"]
    return loop is None and slots["decision"] is None


def advised_sentences(slots: Mapping[str, Any]) -> list[str]:
    """Return why the strings that go in were advised, as sentences; none where others were chosen."""
    advice = slots["advice"]
    if not advice or not advice.get("taken") or slots["mains_material"] != advice["mains_material"]:
        return []
    return [step["says"] for step in advice["trail"] if step["table"].startswith(ON_THE_CARD)]
