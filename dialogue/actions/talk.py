"""Leading the talk: echo, read-backs, choices, offers, and what is said when nothing was understood."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rasa_sdk.events import ActiveLoop
from rasa_sdk.executor import CollectingDispatcher
from rasa_sdk.interfaces import Tracker

from dialogue.actions.base import CounterAction, Events, customer_slot, say, say_with_choices, set_slots
from dialogue.actions.moving import MOVE_DATE, answer_move, offer_move
from dialogue.intake import DOUBTFUL, UNNOTED, claims, intent_of
from dialogue.policy import DROP_OFF, FRAME_DAMAGE
from dialogue.racquets import all_racquets, switch
from dialogue.telling import next_offer, owner_phrases
from dialogue.translate import day_phrase, fact_phrase, facts_phrases, other_day_order

NEW_CARD = frozenset({"new_customer", "namesake"})
"""Why it is read back whether a card shall be opened."""
IMPOSSIBLE = "impossible_date:"
PATIENCE = 2
"""After so many answers to one question that were not understood there are choices; after more, a person."""


class Note(CounterAction):
    """Says back what was just kept: a correction beside what it replaces, the rest in a few words."""

    action = "action_note"

    async def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> Events:
        """Return that it was said."""
        slots = tracker.slots
        racquets = all_racquets(slots)
        keys = sorted({change["racquet"] for change in slots["noted"]})
        if keys == [slots["racquet_key"]]:
            self._note_present(dispatcher, slots)
            return set_slots(noted=[])
        for key in keys:
            racquet = racquets[key]
            changed = [change["slot"] for change in slots["noted"] if change["racquet"] == key]
            told = [slot for slot in dict.fromkeys(changed) if slot in racquet]
            if told:
                which = owner_phrases(racquet)["racquet"]
                say(dispatcher, "utter_noted_for", which=which, values=facts_phrases(racquet, told))
        return set_slots(noted=[])

    @staticmethod
    def _note_present(dispatcher: CollectingDispatcher, slots: Mapping[str, Any]) -> None:
        key = slots["racquet_key"]
        noted = [each for each in slots["noted"] if each["racquet"] == key and slots[each["slot"]] not in (None, {})]
        named_anew = UNNOTED | {"symptoms"}
        corrected = [change for change in noted if change["old"] is not None and change["slot"] not in named_anew]
        for change in corrected:
            slot = change["slot"]
            old, new = fact_phrase(slot, change["old"]), fact_phrase(slot, slots[slot])
            say(dispatcher, "utter_corrected", values=new, old=old)
        fresh = [change["slot"] for change in noted if change not in corrected and change["slot"] not in UNNOTED]
        if fresh:
            say(dispatcher, "utter_noted", values=facts_phrases(slots, list(dict.fromkeys(fresh))))


class ReadBack(CounterAction):
    """Reads back what must not be kept before somebody said yes to it."""

    action = "action_read_back"

    async def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> Events:
        """Return how often it was read back by now; else what waits goes on waiting."""
        claim, *rest = tracker.slots["pending"]
        known = tracker.slots.get(claim["slot"])
        why = "unsure" if claim["why"] == "contradiction" and known is None else claim["why"]
        key = READ_BACK.get(why, "utter_read_back")
        if why == "day_order" and (other := other_day_order(claim["value"])):
            days = [day_phrase(claim["value"]), day_phrase(other)]
            say_with_choices(dispatcher, "utter_read_back_day_order", days, first=days[0], second=days[1])
        elif claim["slot"] == "customer":
            say(dispatcher, key, **_card_values(claim["value"]))
        elif claim["why"] in NEW_CARD:
            say(dispatcher, key, name=claim["value"])
        else:
            values = {"value": fact_phrase(claim["slot"], claim["value"])}
            if why == "contradiction":
                values["old"] = fact_phrase(claim["slot"], known)
            elif why == DOUBTFUL:
                values["says"] = claim["says"]
            say(dispatcher, key, **values)
        return set_slots(pending=[{**claim, "times": claim.get("times", 0) + 1}, *rest])


READ_BACK: Mapping[str, str] = {
    "contradiction": "utter_read_back_contradiction",
    "year_moved": "utter_read_back_year_moved",
    "new_customer": "utter_read_back_new_customer",
    "namesake": "utter_read_back_namesake",
    "alike": "utter_read_back_alike",
    "same_person": "utter_read_back_same_person",
    DOUBTFUL: "utter_read_back_doubtful",
}


def _card_values(card: Mapping[str, Any]) -> dict[str, Any]:
    mark: dict[str, Any] = {"key": "utter_nothing"}
    named = [name for name in card["racquets"] if name]
    if card["tail"]:
        mark = {"key": "utter_mark_tail", "tail": card["tail"]}
    elif named:
        mark = {"key": "utter_mark_racquets", "racquets": named}
    return {"name": card["name"], "mark": mark}


class Settle(CounterAction):
    """Takes the answer to a read-back: yes keeps the value, no drops it, another value replaces it."""

    action = "action_settle"

    async def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> Events:
        """Return what is kept or dropped; the runner checks a kept value like any other."""
        claim, rest = tracker.slots["pending"][0], tracker.slots["pending"][1:]
        said = [each.value for each in claims(tracker.latest_message) if each.slot == claim["slot"]]
        settled = set_slots(pending=rest)
        if intent_of(tracker.latest_message) == "affirm" and (not said or said == [claim["value"]]):
            return [*settled, *set_slots(failures=0, **_kept(claim))]
        if said:
            return [*settled, *_like_the_doubted(claim, said[-1])]
        if claim["slot"] in {"customer", "customer_name"}:
            return [*settled, *_another_person(dispatcher, tracker, claim)]
        return [*settled, *_dropped(dispatcher, tracker, claim)]


def _like_the_doubted(claim: Mapping[str, Any], said: Any) -> Events:
    """Return a bare figure said in the place of a doubted reading as one of the same instrument."""
    if claim["why"] != DOUBTFUL or not isinstance(said, Mapping) or said.get("kind"):
        return []
    (doubted,) = claim["value"][:1] if isinstance(claim["value"], list) else (claim["value"],)
    kind = doubted.get("kind") if isinstance(doubted, Mapping) else None
    return set_slots(confirmed=[{**claim, "value": {**said, "kind": kind}, "why": None, "says": None}])


def _kept(claim: Mapping[str, Any]) -> dict[str, Any]:
    if claim["slot"] == "customer":
        return {"customer": claim["value"], "customer_name": claim["value"]["name"]}
    if claim["why"] in NEW_CARD:
        return {"customer": customer_slot(claim["value"])}
    if claim["why"] == DOUBTFUL and claim["slot"] == "reading":
        # It is on its way to a card: there it is kept, since somebody stands by it.
        return {"reading": claim["value"], "sure_of": claim["value"]}
    confirmed = {"confirmed": [{**claim, "why": None}]}
    return {**confirmed, "sure_of": claim["value"]} if claim["why"] == DOUBTFUL else confirmed


def _another_person(dispatcher: CollectingDispatcher, tracker: Tracker, claim: Mapping[str, Any]) -> Events:
    """Return what follows where it is not who was found: a new card, another name, or no card at all."""
    if claim["why"] in NEW_CARD:
        say(dispatcher, "utter_not_kept")
        return [ActiveLoop(None), *set_slots(customer_name=None, requested_slot=None)]
    if claim["why"] == "same_person":
        name = tracker.slots["customer_name"]
        return set_slots(pending=[{"slot": "customer_name", "value": name, "why": "namesake", "words": name}])
    if claim["why"] == "alike" and (tracker.active_loop or {}).get("name") == DROP_OFF:
        # Nobody of that name, then: who leaves a racquet may be new.
        return set_slots(customer=customer_slot(str(tracker.slots["customer_name"])))
    return set_slots(customer_name=None)


def _dropped(dispatcher: CollectingDispatcher, tracker: Tracker, claim: Mapping[str, Any]) -> Events:
    """Return what follows where a value is not what was meant."""
    slots = tracker.slots
    if claim["why"] == "contradiction":
        say(dispatcher, "utter_left_as_it_was")
        return []
    if intent_of(tracker.latest_message) == "dont_know" and claim["why"] != DOUBTFUL:
        say(dispatcher, "utter_not_known")
        return set_slots(unknown=[*slots["unknown"], claim["slot"]], decision=None, told=False)
    say(dispatcher, "utter_dropped")
    return set_slots(failures=slots["failures"] + 1)


class AskBack(CounterAction):
    """Asks which of two meanings was meant."""

    action = "action_ask_back"

    async def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> Events:
        """Return nothing: the question stays open until it is answered."""
        question = tracker.slots["asked_back"]
        say(dispatcher, question["key"])
        if question["key"] == "utter_ask_back_contradiction":
            say(dispatcher, f"utter_ask_{question['slot']}")
        return []


class NotUnderstood(CounterAction):
    """Says that an answer was not understood, and helps more each time."""

    action = "action_not_understood"

    async def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> Events:
        """Return one failure more."""
        slots = tracker.slots
        failures = slots["failures"] + 1
        suggestions = tracker.latest_message.get("suggestions") or ()
        asked = "confirm" if slots["pending"] else slots["requested_slot"]
        if failures > PATIENCE:
            say(dispatcher, "utter_offer_person")
        elif failures == PATIENCE:
            say(dispatcher, "utter_pick_one")
        else:
            impossible = any(question.startswith(IMPOSSIBLE) for question in tracker.latest_message["questions"])
            say(dispatcher, "utter_no_such_day" if impossible else "utter_not_understood")
            if asked:
                say(dispatcher, f"utter_help_{asked}")
        if suggestions and failures < PATIENCE:
            say_with_choices(dispatcher, "utter_did_you_mean", suggestions)
        return set_slots(failures=failures)


class OutOfScope(CounterAction):
    """Says politely what is outside the trade, and sends a cracked frame to a stringer."""

    action = "action_out_of_scope"

    async def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> Events:
        """Return nothing: an open question stays open."""
        message, slots = tracker.latest_message, tracker.slots
        suggestions = message.get("suggestions") or ()
        if message.get("rule") == FRAME_DAMAGE:
            say(dispatcher, "utter_crack")
        elif suggestions:
            say(dispatcher, "utter_not_understood")
            say_with_choices(dispatcher, "utter_did_you_mean", suggestions)
        elif slots["requested_slot"] or slots["pending"]:
            say(dispatcher, "utter_out_of_scope")
        else:
            say(dispatcher, "utter_what_i_do")
        return []


class CallStaff(CounterAction):
    """Sends somebody to a person."""

    action = "action_call_staff"

    async def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> Events:
        """Return nothing: whoever comes finds the talk as it was."""
        say(dispatcher, "utter_call_staff")
        return []


class NextRacquet(CounterAction):
    """Takes up the next racquet that has no answer yet."""

    action = "action_next_racquet"

    async def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> Events:
        """Return the switch."""
        waiting = [key for key, racquet in all_racquets(tracker.slots).items() if not racquet["told"]]
        return switch(tracker.slots, waiting[0])


class Offer(CounterAction):
    """Offers, once, what would make the answer firmer, and to keep it under a name; ends the consultation."""

    action = "action_offer"

    async def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> Events:
        """Return what was offered, so that a bare answer to it is understood."""
        slots = tracker.slots
        if slots["move"]:
            return [ActiveLoop(None), *offer_move(dispatcher, slots["move"], slots["offered"])]
        open_offers: list[str] = []
        offered = list(slots["offered"])
        need = next_offer(slots["decision"], offered)
        if need and slots[need["fact"]] is None:
            say(dispatcher, f"utter_offer_{need['fact']}")
            open_offers.append(need["fact"])
        elif need and need["fact"] == "reading":
            say(dispatcher, "utter_offer_another_reading")
            open_offers.append("reading")
        if not (slots["record"] or "customer_name" in slots["declined"]):
            say(dispatcher, "utter_offer_customer_name")
            open_offers.append("customer_name")
        declined = list(dict.fromkeys([*slots["declined"], "customer_name"]))
        return [
            ActiveLoop(None),
            *set_slots(
                offer=open_offers, offered=[*offered, *open_offers], declined=declined, requested_slot=None, failures=0
            ),
        ]


class AnswerOffer(CounterAction):
    """Takes yes or no to an offer."""

    action = "action_answer_offer"

    async def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> Events:
        """Return what was taken up, or that nothing was."""
        offer = tracker.slots["offer"]
        if MOVE_DATE in offer:
            return answer_move(self, dispatcher, tracker)
        if intent_of(tracker.latest_message) != "affirm":
            say(dispatcher, "utter_not_kept" if "customer_name" in offer else "utter_none")
            return set_slots(offer=[])
        wanted = offer[-1]
        if wanted == "customer_name":
            return [ActiveLoop("keep_form"), *set_slots(offer=[], requested_slot=wanted)]
        return [ActiveLoop("consultation_form"), *set_slots(offer=[], requested_slot=wanted)]
