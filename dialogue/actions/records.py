"""What concerns the cards: whose racquet it is, keeping, handing out, readings, taking in, what is due."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any

from rasa_sdk.events import ActiveLoop
from rasa_sdk.executor import CollectingDispatcher
from rasa_sdk.interfaces import Tracker

from dialogue.actions.base import (
    CounterAction,
    Events,
    customer_slot,
    racquet_of,
    say,
    say_with_choices,
    sealed,
    set_slots,
    today,
)
from dialogue.actions.moving import offer_move
from dialogue.actions.readiness import tell_whether
from dialogue.counter_words import NEW, fits_name, which_of
from dialogue.errors import ValueRefused
from dialogue.intake import DOUBTFUL, Claim, outdated
from dialogue.options import chosen
from dialogue.racquets import FACTS, PLAYER_FACTS, STRING_FACTS, all_racquets
from dialogue.services import Card, Fetched, Logged, RacquetCard
from dialogue.telling import Telling, foreseen_values, move_offered
from dialogue.translate import Phrase, day_phrase, facts_phrases, phrase, product_phrases, reading_phrase, stepped

DROPPING = "drop_off_form"
OTHER = "other"
"""What is wanted where the strings are not to be those of last time."""
UNTOLD = frozenset({"reading_form", "strung_form", "label_form"})
"""Errands of somebody at the bench, who need not hear what is on record first."""
LISTED = 8
"""How many racquets of the due list are read out."""
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
        return [*set_slots(customer=card, requested_slot=None, failures=0), *_recalled(self, dispatcher, tracker, card)]


def _read_back(card: Mapping[str, Any], why: str) -> Events:
    claim = {"slot": "customer", "value": card, "words": card["name"], "why": why, "owner": None}
    return set_slots(pending=[claim], requested_slot=None, failures=0)


def _nobody(dispatcher: CollectingDispatcher, tracker: Tracker, name: str, loop: str | None) -> Events:
    if loop in {"pickup_form", "reading_form"}:
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


def _recalled(action: CounterAction, dispatcher: CollectingDispatcher, tracker: Tracker, card: Any) -> Events:
    """Return what a customer's record adds to the talk: the racquet and its facts, or which racquet to ask for."""
    loop = (tracker.active_loop or {}).get("name")
    if loop in {"pickup_form", "keep_form"} or card["customer_id"] is None:
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
            return [*chosen_customer, *_recalled(self, dispatcher, tracker, card)]
        settled = set_slots(options=None, failures=0)
        if options["for"] == "product":
            return [*settled, *set_slots(confirmed=values[0])]
        if values[0].get(NEW):
            known = self.services.racquets(tracker.slots["customer"]["customer_id"], today(tracker))
            return [*settled, *set_slots(racquet_name=NEW), *_another(dispatcher, tracker, known)]
        return [*settled, *_recall(dispatcher, tracker, RacquetCard(**values[0]))]


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


def _said_as(slots: Mapping[str, Any]) -> str:
    """Return the slot in which the figure to be written down stands."""
    return "reading" if slots["reading"] is not None else "baseline"


class LogReading(CounterAction):
    """Writes a reading on a racquet's card and tells what it changed."""

    action = "action_log_reading"

    async def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> Events:
        """Return the racquet's facts and the decision after the reading."""
        slots = tracker.slots
        record, customer = slots["record"], slots["customer"]
        logged = None
        if not record and customer:
            recalled = self._which(dispatcher, tracker, customer)
            if recalled.get("options"):
                return set_slots(options=recalled["options"])
            record = recalled.get("record")
        if record and record.get("racquet_id"):
            try:
                logged = self._log(record["racquet_id"], slots, today(tracker))
            except ValueRefused as refused:
                say(dispatcher, "utter_refused", message=refused.message)
                return set_slots(reading=None, requested_slot="reading")
        if logged and logged.doubt:
            slot = _said_as(slots)
            waiting = Claim(slot, slots[slot], "", why=DOUBTFUL, says=logged.doubt).to_json()
            return set_slots(pending=[waiting], **{slot: None})
        if logged is None or (logged.refusal is None and not logged.fresh and logged.after is None):
            name = (customer or record)["name"]
            say(dispatcher, "utter_no_racquet", name=name)
            return [ActiveLoop("consultation_form"), *set_slots(requested_slot=None)]
        if logged.refusal:
            say(dispatcher, "utter_refused", message=logged.refusal)
            return [ActiveLoop(None), *set_slots(requested_slot=None, told=True)]
        self._tell(dispatcher, logged, slots["reading"] or slots["baseline"])
        facts = {name: logged.card.facts.get(name) for name in FACTS}
        decided = set_slots(decision=logged.after, told=True, record=logged.card.to_record())
        what = phrase("utter_undone_reading", racquet=racquet_of(logged.card))
        over = [ActiveLoop(None), *sealed(self, slots, what, keep=True), *set_slots(requested_slot=None, offered=[])]
        over += set_slots(**facts, products={}, words={})
        return [*over, *decided, *self._foresee(dispatcher, logged, today(tracker))]

    def _which(self, dispatcher: CollectingDispatcher, tracker: Tracker, customer: Mapping[str, Any]) -> dict[str, Any]:
        """Return which racquet of somebody named earlier in the talk is meant, or the choice; empty where none is."""
        number = customer["customer_id"]
        known = self.services.racquets(number, today(tracker)) if number is not None else ()
        events = _recalled(self, dispatcher, tracker, customer) if known else []
        return {event["name"]: event["value"] for event in events if event["event"] == "slot"}

    def _log(self, racquet_id: int, slots: Mapping[str, Any], day: dt.date) -> Logged:
        """Write down the reading that was said, or the baseline where it was said to be one."""
        slot = _said_as(slots)
        fresh = True if slot == "baseline" else None
        sure = slots["sure_of"] == slots[slot]
        return self.services.log_reading(racquet_id, slots[slot], day, fresh=fresh, sure=sure)

    def _foresee(self, dispatcher: CollectingDispatcher, logged: Logged, day: dt.date) -> Events:
        """Tell when so much will be lost, and offer to move the day on record where the two part."""
        if logged.after is None:
            return []
        foreseen = self.services.foresee(logged.card.facts, day, logged.card.job_id)
        for key, values in foreseen_values(foreseen, logged.after):
            say(dispatcher, key, **values)
        move = move_offered(foreseen, logged.after)
        if move is None or not self.services.moves_dates:
            return []
        return offer_move(dispatcher, {**move, "record": logged.card.to_record()}, [])

    @staticmethod
    def _tell(dispatcher: CollectingDispatcher, logged: Logged, reading: Any) -> None:
        key = "utter_logged_fresh" if logged.fresh else "utter_logged"
        say(dispatcher, key, racquet=racquet_of(logged.card), reading=reading_phrase(reading))
        for sentence in logged.remarks:
            say(dispatcher, "utter_story", says=sentence)
        if logged.after is None:
            return
        before, after = Telling.of(logged.before), Telling.of(logged.after)
        says = [step["says"] for step in after.steps("comparable", "reading", "reading_quality")]
        if says:
            say(dispatcher, "utter_because", says=" ".join(says))
        if before.summary() == after.summary():
            say(dispatcher, "utter_logged_same", after=after.summary())
        else:
            say(dispatcher, "utter_logged_changed", before=before.summary(), after=after.summary())


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
