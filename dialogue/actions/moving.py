"""Offering to move a day on record to the one forecast, and what is answered to it; decides no day."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from rasa_sdk.executor import CollectingDispatcher
from rasa_sdk.interfaces import Tracker

from dialogue.actions.base import CounterAction, Events, say, sealed, set_slots, today
from dialogue.intake import intent_of
from dialogue.racquets import known_facts
from dialogue.telling import move_name
from dialogue.translate import day_phrase, phrase

MOVE_DATE = "move_date"
"""The offer to move a day on record."""


def offer_move(dispatcher: CollectingDispatcher, move: Mapping[str, Any], offered: Sequence[str]) -> Events:
    """Offer to move a day on record, alone, so that a bare yes can only mean this."""
    days = {name: day_phrase(move[name]) for name in ("old", "new")}
    say(dispatcher, "utter_offer_move_date", **days)
    return set_slots(move=move, offer=[MOVE_DATE], offered=[*offered, move_name(move)], requested_slot=None, failures=0)


def answer_move(action: CounterAction, dispatcher: CollectingDispatcher, tracker: Tracker) -> Events:
    """Move the day on record to the one forecast, where somebody said yes."""
    slots, move = tracker.slots, tracker.slots["move"]
    over = set_slots(offer=[], move=None)
    if intent_of(tracker.latest_message) != "affirm":
        say(dispatcher, "utter_date_stays", date=day_phrase(move["old"]))
        return over
    moved = action.services.move_date(known_facts(slots), move, today(tracker))
    say(dispatcher, "utter_date_moved", date=day_phrase(move["new"]))
    decided = set_slots(decision=moved.decision, consultation=moved.consultation, label_due=move["new"])
    what = phrase("utter_undone_move", date=day_phrase(move["old"]))
    return [*over, *decided, *sealed(action, slots, what, keep=True)]
