"""What concerns the cards: keeping what was decided, handing out, what is due."""

from __future__ import annotations

from typing import Any

from rasa_sdk.events import ActiveLoop
from rasa_sdk.executor import CollectingDispatcher
from rasa_sdk.interfaces import Tracker

from dialogue.actions.base import CounterAction, Events, racquet_of, say, sealed, set_slots, today
from dialogue.actions.readiness import tell_whether
from dialogue.racquets import FACTS, all_racquets
from dialogue.services import Fetched
from dialogue.translate import day_phrase, phrase

LISTED = 8
"""How many racquets of the due list are read out."""


class Keep(CounterAction):
    """Keeps every racquet that was decided on under the customer's name."""

    action = "action_keep"

    async def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> Events:
        """Return the records the racquets now have."""
        slots, customer = tracker.slots, dict(tracker.slots["customer"])
        if customer["customer_id"] is None:
            customer = self.services.open_card(customer["name"], slots["customer_phone"]).to_json()
        racquets = all_racquets(slots)
        kept = dict(slots["racquets"])
        events: Events = []
        tag = ""
        for key, racquet in racquets.items():
            if not racquet.get("consultation"):
                continue
            nickname = racquet.get("owner") if racquet["whose"] == "racquet" else None
            facts = {name: racquet[name] for name in FACTS if name in racquet}
            # Open again, a decision follows by the racquet's record once it is taken.
            keep = self.services.keep if racquet.get("decision") else self.services.open_racquet
            card = keep(customer["customer_id"], {**racquet, "facts": facts, "nickname": nickname}, today(tracker))
            tag = card.tag
            if key == slots["racquet_key"]:
                events += set_slots(record=card.to_record())
            else:
                kept[key] = {**racquet, "record": card.to_record()}
        key = "utter_kept_tag" if tag and len(racquets) == 1 else "utter_kept"
        say(dispatcher, key, name=customer["name"], tag=tag, spelt=" ".join(tag))
        what = phrase("utter_undone_kept", name=customer["name"])
        events += [ActiveLoop(None), *sealed(self, slots, what)]
        return [*events, *set_slots(customer=customer, racquets=kept, requested_slot=None)]


class HandOver(CounterAction):
    """Hands racquets over and tells each one's story."""

    action = "action_hand_over"

    async def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> Events:
        """Return the last racquet handed over as the one being talked of, with its stored decision."""
        customer = tracker.slots["customer"]
        over = [ActiveLoop(None), *set_slots(requested_slot=None)]
        if tracker.slots["only_asked"]:
            waiting = self.services.in_the_shop(customer["customer_id"], today(tracker))
            if waiting:
                tell_whether(dispatcher, waiting)
                return over
        fetched = self.services.hand_over(customer["customer_id"], today(tracker)) if customer["customer_id"] else ()
        if not fetched:
            say(dispatcher, "utter_nothing_to_fetch", name=customer["name"])
            return over
        for each in fetched:
            _tell(dispatcher, each)
        told = [each for each in fetched if each.refusal is None]
        if not told:
            return over
        say(dispatcher, "utter_handed_over_questions")
        card = told[-1].card
        facts = {name: card.facts.get(name) for name in FACTS}
        decided = set_slots(decision=told[-1].decision, told=True, record=card.to_record(), words={})
        over += sealed(self, tracker.slots, phrase("utter_undone_hand_over", racquet=racquet_of(card)))
        return [*over, *set_slots(**facts, products={}, unknown=[], offered=[]), *decided]


def _tell(dispatcher: CollectingDispatcher, fetched: Fetched) -> None:
    for sentence in fetched.story:
        say(dispatcher, "utter_story", says=sentence)
    racquet = racquet_of(fetched.card)
    if fetched.refusal and fetched.promised_on:
        say(dispatcher, "utter_not_ready_promised", racquet=racquet, date=day_phrase(fetched.promised_on))
    elif fetched.refusal:
        say(dispatcher, "utter_not_ready", racquet=racquet)


class ForgetContact(CounterAction):
    """Takes a phone number or an address off somebody's card."""

    action = "action_forget_contact"

    async def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> Events:
        """Return the end of the errand."""
        customer, wanted = tracker.slots["customer"] or tracker.slots["record"], tracker.slots["forgets"] or ()
        over = [ActiveLoop(None), *set_slots(requested_slot=None, forgets=None, told=True)]
        gone = self.services.forget_contact(customer["customer_id"], wanted) if customer.get("customer_id") else ()
        if not gone:
            what = [phrase(f"utter_contact_{part}") for part in wanted]
            say(dispatcher, "utter_contact_none", name=customer["name"], what=what)
            return over
        what = [phrase(f"utter_contact_{part}") for part in gone]
        say(dispatcher, "utter_contact_forgotten", name=customer["name"], what=what)
        undone = phrase("utter_undone_contact", name=customer["name"], what=what)
        return [*over, *sealed(self, tracker.slots, undone, keep=True)]


class TellDue(CounterAction):
    """Reads out whose strings are due."""

    action = "action_tell_due"

    async def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> Events:
        """Return nothing: reading changes nothing."""
        entries = self.services.due(today(tracker))
        if not entries:
            say(dispatcher, "utter_due_none")
            return []
        lines = [
            phrase("utter_due_entry", name=entry.name, racquet=entry.racquet, date=day_phrase(entry.due_on))
            for entry in entries[:LISTED]
        ]
        say(dispatcher, "utter_due_list", entries=lines)
        if len(entries) > LISTED:
            say(dispatcher, "utter_due_more", n=len(entries) - LISTED)
        return []
