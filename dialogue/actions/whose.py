"""Whose racquet it is and which one: looking somebody up, asking which of several, what the cards tell of them."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import Any

from rasa_sdk.executor import CollectingDispatcher
from rasa_sdk.interfaces import Tracker

from dialogue.actions.base import CounterAction, Events, customer_slot, say, say_with_choices, set_slots, today
from dialogue.counter_words import NEW, fits_name, which_of
from dialogue.intake import outdated
from dialogue.options import chosen
from dialogue.racquets import FACTS, PLAYER_FACTS, STRING_FACTS
from dialogue.services import Card, RacquetCard
from dialogue.translate import Phrase, facts_phrases, phrase, product_phrases, stepped

DROPPING = "drop_off_form"
OTHER = "other"
"""What is wanted where the strings are not to be those of last time."""
UNTOLD = frozenset({"reading_form", "strung_form", "label_form"})
"""Errands of somebody at the bench, who need not hear what is on record first."""
MATERIALS = ("mains_material", "crosses_material")
STRINGS = (*MATERIALS, "mains_tension", "crosses_tension")
TOLD_ON_RECORD = (
    *STRINGS,
    "strung_on",
    "label_due",
    "level",
    "plays_per_week",
    "baseline",
)


class FindCustomer(CounterAction):
    """Looks up whose racquet it is; asks which where several fit, and never guesses."""

    action = "action_find_customer"

    async def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> Events:
        """Return who it is, who it may be, or that nobody of that name is on record."""
        name = str(tracker.slots["customer_name"])
        loop = (tracker.active_loop or {}).get("name")
        cards = self.services.find(name)
        if not cards:
            return _nobody(dispatcher, tracker, name, loop)
        if len(cards) > 1:
            return set_slots(options=_customers(cards), requested_slot=None)
        card = cards[0].to_json()
        if not cards[0].exact:
            return _read_back(card, "alike")
        if loop == "keep_form":
            return _read_back(card, "same_person")
        return [
            *set_slots(customer=card, requested_slot=None, failures=0),
            *recall_customer(self, dispatcher, tracker, card),
        ]


def _read_back(card: Mapping[str, Any], why: str) -> Events:
    claim = {"slot": "customer", "value": card, "words": card["name"], "why": why, "owner": None}
    return set_slots(pending=[claim], requested_slot=None, failures=0)


def _nobody(dispatcher: CollectingDispatcher, tracker: Tracker, name: str, loop: str | None) -> Events:
    if loop in {"pickup_form", "reading_form", "forget_form"}:
        say(dispatcher, "utter_not_on_record", name=name)
        failures = tracker.slots["failures"] + 1
        say(dispatcher, "utter_offer_person" if failures > 1 else "utter_try_again_name")
        return set_slots(customer_name=None, requested_slot="customer_name", failures=failures)
    if loop == "keep_form":
        claim = {"slot": "customer_name", "value": name, "words": name, "why": "new_customer", "owner": None}
        return set_slots(pending=[claim], requested_slot=None, failures=0)
    if loop != "drop_off_form":
        say(dispatcher, "utter_new_name", name=name)
    return set_slots(customer=customer_slot(name), requested_slot=None, failures=0)


def _customers(cards: Sequence[Card]) -> dict[str, Any]:
    """Return the choice between customers, told apart by the end of their number or by their racquets."""
    entries = []
    for card in cards:
        named = [name for name in card.racquets if name]
        if card.tail:
            text = phrase("utter_option_tail", name=card.name, tail=card.tail)
        elif named:
            text = phrase("utter_option_racquets", name=card.name, racquets=named)
        else:
            text = phrase("utter_option_plain", name=card.name, number=card.customer_id)
        marks = [card.name, card.tail, *named, *([] if card.tail or named else [str(card.customer_id)])]
        entries.append({"text": text, "value": card.to_json(), "marks": marks})
    return {"for": "customer", "entries": entries, "several": False}


MEANT: Mapping[str, frozenset[str]] = {
    DROPPING: frozenset({"", "collected", "cancelled"}),
    "strung_form": frozenset({"received"}),
    "label_form": frozenset({"strung", "ready", "collected"}),
}
"""How far the last stringing of a racquet must have come for the racquet to be meant, by form."""


def recall_customer(action: CounterAction, dispatcher: CollectingDispatcher, tracker: Tracker, card: Any) -> Events:
    """Return what a customer's record adds to the talk: the racquet and its facts, or which racquet to ask for."""
    loop = (tracker.active_loop or {}).get("name")
    if loop in {"pickup_form", "keep_form", "forget_form"} or card["customer_id"] is None:
        return []
    known = action.services.racquets(card["customer_id"], today(tracker))
    racquets = [racquet for racquet in known if racquet.status in MEANT.get(str(loop), {racquet.status})]
    label = tracker.slots["racquet_name"]
    if not known:
        say(dispatcher, "utter_on_record_nothing", name=card["name"])
        return []
    if not racquets and loop != DROPPING:
        return []
    if label == NEW or (loop == DROPPING and not any(fits_name(label, racquet.racquet) for racquet in racquets)):
        return _another(dispatcher, tracker, known)
    text = str(tracker.latest_message.get("text") or "") if label is None else ""
    meant = which_of(label, [racquet.racquet for racquet in racquets], text)
    if meant is not None or len(racquets) == 1:
        return _recall(dispatcher, tracker, racquets[meant or 0])
    return which_racquet(racquets, card["name"], new=loop == DROPPING)


def which_racquet(racquets: Sequence[RacquetCard], name: str, *, new: bool = False) -> Events:
    """Return the choice between somebody's racquets, one not on record yet among them where there may be one."""
    entries = [_racquet_entry(racquet, number) for number, racquet in enumerate(racquets, 1)]
    if new:
        entries.append({"text": phrase("utter_option_racquet_new"), "value": {NEW: True}, "marks": [NEW]})
    return set_slots(options={"for": "racquet", "entries": entries, "several": False, "name": name})


def _another(dispatcher: CollectingDispatcher, tracker: Tracker, known: Sequence[RacquetCard]) -> Events:
    """Return a racquet that is not on record yet, with what is known of its player."""
    slots = tracker.slots
    if slots["racquet_name"] is None:
        on_the_bench = [racquet.racquet or racquet.tag for racquet in known]
        say(dispatcher, "utter_another_racquet", name=known[0].name, racquets=on_the_bench)
    facts = {name: known[0].facts.get(name) for name in PLAYER_FACTS if slots[name] is None}
    return [*set_slots(**facts), *outdated()]


def _racquet_entry(card: RacquetCard, number: int) -> dict[str, Any]:
    text: Phrase = phrase("utter_option_racquet_bare", number=number)
    if card.racquet:
        text = phrase("utter_option_racquet", racquet=card.racquet)
    elif card.tag:
        text = phrase("utter_option_racquet_plain", strings=told_strings(card, MATERIALS), tag=card.tag)
    value = {**card.to_record(), "facts": dict(card.facts)}
    return {"text": text, "value": value, "marks": [card.racquet, card.tag]}


def told_strings(card: RacquetCard, names: Sequence[str]) -> Any:
    """Return what is on record of a racquet's strings, or that it is nothing particular."""
    told = [name for name in names if name in card.facts]
    return [*facts_phrases(card.facts, told), *product_phrases(card.products)] or phrase("utter_nothing_particular")


def _recall(dispatcher: CollectingDispatcher, tracker: Tracker, card: RacquetCard) -> Events:
    """Return the facts on record as slots, except those already said, and say in one sentence what they are."""
    slots = tracker.slots
    wanted = set(FACTS) - set(STRING_FACTS if slots["same_as"] == OTHER else ())
    facts = {name: value for name, value in card.facts.items() if name in wanted and slots[name] is None}
    told = [name for name in TOLD_ON_RECORD if name in facts]
    if told and (tracker.active_loop or {}).get("name") not in UNTOLD:
        products = product_phrases(card.products) if "mains_material" in told else []
        values = {"name": card.name, "facts": [*facts_phrases(facts, told), *products]}
        key = "utter_on_record_racquet" if card.racquet else "utter_on_record"
        say(dispatcher, key, racquet=card.racquet, **values)
    printed = {} if slots["printed_range"] else {"printed_range": card.printed_range}
    said = {side: product for side, product in slots["products"].items() if f"{side}_material" not in facts}
    record = set_slots(**facts, **printed, products=said, record=card.to_record())
    moved = stepped(facts, slots["tension_step"]) if slots["tension_step"] else {}
    if moved:
        # Said of the tension on record, so it is no longer the one of last time.
        words = {**slots["words"], **dict.fromkeys(moved, "tension_step")}
        record += set_slots(**moved, words=words, tension_step=None)
    return [*record, *outdated()]


class AskWhich(CounterAction):
    """Asks which of several customers or racquets is meant."""

    action = "action_ask_which"

    async def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> Events:
        """Return nothing: the choice stays open."""
        options = tracker.slots["options"]
        texts = [entry["text"] for entry in options["entries"]]
        say_with_choices(dispatcher, f"utter_ask_which_{options['for']}", texts, name=options.get("name", ""))
        return []


class Choose(CounterAction):
    """Takes the answer to which customer or racquet is meant."""

    action = "action_choose"

    async def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> Events:
        """Return the one that was chosen and what is on record of it."""
        options = tracker.slots["options"]
        values = chosen(options, tracker.latest_message)
        if not values:
            name = tracker.slots["customer_name"]
            loop = (tracker.active_loop or {}).get("name")
            if options["for"] in {"racquet", "product"}:
                say(dispatcher, "utter_not_known")
                return set_slots(options=None)
            return [*set_slots(options=None), *_nobody(dispatcher, tracker, str(name), loop)]
        if options["for"] == "customer":
            card = values[0]
            chosen_customer = set_slots(options=None, customer=card, failures=0)
            return [*chosen_customer, *recall_customer(self, dispatcher, tracker, card)]
        settled = set_slots(options=None, failures=0)
        if options["for"] == "product":
            return [*settled, *set_slots(confirmed=values[0])]
        if values[0].get(NEW):
            known = self.services.racquets(tracker.slots["customer"]["customer_id"], today(tracker))
            return [*settled, *set_slots(racquet_name=NEW), *_another(dispatcher, tracker, known)]
        return [*settled, *_recall(dispatcher, tracker, RacquetCard(**values[0]))]
