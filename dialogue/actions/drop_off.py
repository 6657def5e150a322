"""A racquet left at the counter: what stands in the way, the customer's wish, the stringing opened; decides nothing."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rasa_sdk.events import ActiveLoop
from rasa_sdk.executor import CollectingDispatcher
from rasa_sdk.interfaces import Tracker

from dialogue.actions.base import CounterAction, Events, customer_slot, racquet_of, say, sealed, set_slots, today
from dialogue.actions.whose import DROPPING, MEANT, STRINGS, told_strings, which_racquet
from dialogue.advising import advised_sentences
from dialogue.counter_words import NEW, by_number
from dialogue.errors import ValueRefused
from dialogue.forms import OF_THE_DATE, said_strings
from dialogue.intake import Claim
from dialogue.racquets import alike_racquet, known_facts
from dialogue.services import RacquetCard
from dialogue.translate import fact_phrase, phrase, product_phrases

ASKED_AGAIN = frozenset({"mains_material", "mains_tension", "crosses_tension", "promised_on", "frame_check"})
"""What may be asked again when a drop-off is refused for it."""
OF_ONE_FRAME = (
    "frame_check",
    "printed_range",
    "same_as",
    "racquet_name",
    "seen_by",
    "wish",
    "outside",
    "tension_step",
    "advise",
    "head_size",
    "pattern",
    "gauge",
)
"""What is said of one frame alone and forgotten with the next one."""
ASKED_ONCE = frozenset({"printed_range", "promised_on", "customer_phone", "customer_email"})
"""What somebody may have declined to say of one racquet or of oneself; the next is asked again."""
LAST = "last"


class LookOver(CounterAction):
    """Sees what still stands in the way: a tension outside the printed range, a fact the date will need."""

    action = "action_look_over"

    async def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> Events:
        """Return what was found; the form asks for it."""
        slots = tracker.slots
        try:
            looked = self.services.look_over(known_facts(slots), slots["printed_range"], today(tracker))
        except ValueRefused:
            return []
        asks = [need for need in looked.needs if need in OF_THE_DATE]
        events = set_slots(asks=asks, outside=looked.outside)
        if looked.outside != slots["outside"]:
            events += set_slots(wish=None)
        nobody = slots["customer"] is None or slots["options"]
        if slots["same_as"] == LAST and slots["mains_material"] is None and not nobody:
            say(dispatcher, "utter_nothing_last_time")
            events += set_slots(same_as=None)
        return events


class AskWish(CounterAction):
    """Asks for another tension, or for the customer's wish."""

    action = "action_ask_wish"

    async def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> Events:
        """Return nothing: the question stays open."""
        say(dispatcher, "utter_refused", message=tracker.slots["outside"])
        say(dispatcher, "utter_ask_wish")
        return []


class WhichProduct(CounterAction):
    """Puts up the products that may be meant."""

    action = "action_which_product"

    async def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> Events:
        """Return the choice between them."""
        waiting = tracker.slots["product_choice"]
        entries = []
        for product in waiting["among"]:
            (text,) = product_phrases({"mains": product, "crosses": product})
            claims = [Claim(slot, product["material"], product["name"], product=product) for slot in waiting["slots"]]
            marks = [product["name"], product["gauge"] or ""]
            entries.append({"text": text, "value": [claim.to_json() for claim in claims], "marks": marks})
        return set_slots(options={"for": "product", "entries": entries, "several": False}, product_choice=None)


class DropOff(CounterAction):
    """Takes a racquet in: a stringing with a tag and, where one was named, a promised day."""

    action = "action_drop_off"

    async def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> Events:
        """Return the racquet's record with the new tag, or what must be said again."""
        slots = tracker.slots
        said = _said(slots)
        received = self.services.take_in(_whose(slots), said, today(tracker))
        card = received.card
        if card is None:
            say(dispatcher, "utter_refused", message=received.refusal)
            return _again(tracker.slots, received.refused_slot)
        for sentence in received.remarks:
            say(dispatcher, "utter_story", says=sentence)
        if received.opened:
            self._tell(dispatcher, card, said["promised_on"])
        else:
            say(dispatcher, "utter_crack")
        known = customer_slot(card.name, card.customer_id)
        what = phrase("utter_undone_drop_off", racquet=racquet_of(card))
        declined = [slot for slot in slots["declined"] if slot not in ASKED_ONCE]
        done = {"record": card.to_record(), "told": True, "requested_slot": None}
        events = [*sealed(self, slots, what), *set_slots(customer=known, declined=declined, **done)]
        events += set_slots(**dict.fromkeys(OF_ONE_FRAME))
        left = (slots["racquet_count"] or 1) - 1
        if left > 0:
            return [*events, *set_slots(racquet_count=left), *self._next(dispatcher, tracker, {**slots, **done})]
        over = set_slots(promised_on=None, customer_phone=None, customer_email=None, racquet_count=None)
        return [*events, ActiveLoop(None), *over]

    def _next(self, dispatcher: CollectingDispatcher, tracker: Tracker, slots: Mapping[str, Any]) -> Events:
        """Return the customer's next frame: with the strings that were said, else with its own of last time."""
        alike, card = said_strings(slots), slots["record"]
        say(dispatcher, "utter_next_frame_alike" if alike else "utter_next_frame")
        known = self.services.racquets(card["customer_id"], today(tracker))
        left_at_home = [racquet for racquet in known if racquet.status in MEANT[DROPPING]]
        events = [*alike_racquet(slots, strings=alike), *set_slots(same_as=None if alike else slots["same_as"])]
        return [*events, *(which_racquet(left_at_home, card["name"], new=True) if left_at_home else [])]

    @staticmethod
    def _tell(dispatcher: CollectingDispatcher, card: RacquetCard, promised_on: str | None) -> None:
        name = phrase("utter_name_and_racquet", name=card.name, racquet=card.racquet)
        values: dict[str, Any] = {
            "name": name if card.racquet else card.name,
            "facts": told_strings(card, STRINGS),
            "tag": card.tag,
            "spelt": " ".join(card.tag),
        }
        if promised_on:
            promised = fact_phrase("promised_on", promised_on)
            say(dispatcher, "utter_dropped_off_promised", promised=promised, **values)
        else:
            say(dispatcher, "utter_dropped_off", **values)


def _whose(slots: Mapping[str, Any]) -> dict[str, Any]:
    """Return the customer as the counter takes one in."""
    racquet_id = (slots["record"] or {}).get("racquet_id")
    reached = {"phone": slots["customer_phone"], "email": slots["customer_email"]}
    return {**slots["customer"], **reached, "racquet_id": racquet_id}


def _said(slots: Mapping[str, Any]) -> dict[str, Any]:
    """Return what was said of the racquet; strings that nobody named are those of last time."""
    facts = known_facts(slots)
    if "crosses_tension" not in facts and "mains_tension" in facts:
        facts["crosses_tension"] = "same_as_mains"
    names = ("frame_check", "promised_on", "consultation", "printed_range", "seen_by", "head_size", "pattern", "gauge")
    same = LAST if (slots["record"] or {}).get("racquet_id") and "mains_material" not in slots["words"] else None
    name = None if slots["racquet_name"] == NEW or by_number(slots["racquet_name"]) else slots["racquet_name"]
    known = (slots["record"] or {}).get("racquet")
    return {
        **{name: slots[name] for name in names},
        "facts": facts,
        "same_as": same,
        "crosses_said": "crosses_material" in slots["words"],
        "racquet_name": None if known else name,
        "products": slots["products"],
        "wish": slots["wish"] if slots["outside"] else None,
        "advised": advised_sentences(slots),
    }


def _again(slots: Mapping[str, Any], slot: str | None) -> Events:
    """Return the events that ask again for what was refused, or leave the errand where nothing can be said again."""
    if slot in ASKED_AGAIN:
        return set_slots(**{slot: None}, requested_slot=slot, failures=slots["failures"] + 1)
    return [ActiveLoop(None), *set_slots(requested_slot=None, told=True)]
