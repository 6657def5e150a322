"""Whether a racquet is ready: asked without fetching it, answered without handing it over."""

from __future__ import annotations

from collections.abc import Iterable

from rasa_sdk.executor import CollectingDispatcher

from dialogue.actions.base import racquet_of, say
from dialogue.services.cards import Waiting
from dialogue.translate import day_phrase


def tell_whether(dispatcher: CollectingDispatcher, waiting: Iterable[Waiting]) -> None:
    """Say of each racquet in the shop whether it can be fetched, and how it is handed over."""
    strung = False
    for each in waiting:
        racquet = racquet_of(each.card)
        strung = strung or each.strung
        if each.strung:
            say(dispatcher, "utter_is_ready", racquet=racquet, tag=each.tag)
        elif each.promised_on:
            say(dispatcher, "utter_not_ready_promised", racquet=racquet, date=day_phrase(each.promised_on))
        else:
            say(dispatcher, "utter_not_ready", racquet=racquet)
    if strung:
        say(dispatcher, "utter_hand_over_how")
