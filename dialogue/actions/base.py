"""What every action shares: its services, the day, and a way to say a phrase; holds no use case."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any, ClassVar

from rasa_sdk.events import SlotSet
from rasa_sdk.executor import CollectingDispatcher
from rasa_sdk.interfaces import Action, Tracker

from dialogue.services import RacquetCard, Services
from dialogue.translate import Phrase, phrase

Events = list[dict[str, Any]]


class CounterAction(Action):
    """An action of the counter."""

    action: ClassVar[str]

    def __init__(self, services: Services) -> None:
        self.services = services

    def name(self) -> str:
        """Return the name the domain knows the action by."""
        return self.action


def say(dispatcher: CollectingDispatcher, key: str, **values: Any) -> None:
    """Say a response of the domain with these values."""
    dispatcher.utter_message(response=key, **values)


def say_with_choices(dispatcher: CollectingDispatcher, key: str, choices: Sequence[Any], **values: Any) -> None:
    """Say a response of the domain and put up other choices than its own: texts, or phrases to be filled."""
    dispatcher.utter_message(response=key, buttons=[{"title": text, "payload": text} for text in choices], **values)


def today(tracker: Tracker) -> dt.date:
    """Return the day of the turn."""
    return dt.date.fromisoformat(tracker.latest_message["metadata"]["today"])


def set_slots(**values: Any) -> Events:
    """Return the events that set some slots."""
    return [SlotSet(name, value) for name, value in values.items()]


def sealed(action: CounterAction, slots: Mapping[str, Any], what: Phrase, *, keep: bool = False) -> Events:
    """Return the events after which "back" goes no further, for something was written on a card, but "undo" may.

    Args:
        action: what wrote it.
        slots: the state.
        what: the words for what was written.
        keep: whether the racquet is still there once it is taken back.
    """
    unit = action.services.written_in()
    written = {"unit": unit, "what": what, "keep": keep} if unit else None
    return set_slots(sealed=slots["sealed"] + 1, written=written)


def customer_slot(name: str, customer_id: int | None = None) -> dict[str, Any]:
    """Return a customer as the slot holds one who is on no card yet, or of whom no more than this is needed."""
    return {"customer_id": customer_id, "name": name, "tail": "", "racquets": []}


def racquet_of(card: RacquetCard) -> Phrase:
    """Return the phrase for somebody's racquet."""
    if card.racquet:
        return phrase("utter_whose_named_racquet", name=card.name, racquet=card.racquet)
    return phrase("utter_whose_racquet", name=card.name)
