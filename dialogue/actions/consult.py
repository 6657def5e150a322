"""The consultation: check what was said, decide, tell, explain, suppose; decides nothing by itself."""

from __future__ import annotations

from collections.abc import Awaitable, Callable, Mapping
from typing import Any

from rasa_sdk.events import SlotSet
from rasa_sdk.executor import CollectingDispatcher
from rasa_sdk.forms import FormValidationAction
from rasa_sdk.interfaces import Tracker

from dialogue.actions.base import CounterAction, Events, say, say_with_choices, set_slots, today
from dialogue.actions.reasons import TRAINEE, further_lines
from dialogue.errors import ValueRefused
from dialogue.intake import claims, intent_of, outdated
from dialogue.phrases import sentence_case
from dialogue.products import SIDES
from dialogue.racquets import FACTS, all_racquets, known_facts
from dialogue.telling import Telling, foreseen_values, move_name, move_offered, next_question, what_if_values
from dialogue.translate import facts_phrases, phrase, product_phrases

Validator = Callable[..., Awaitable[dict[str, Any]]]


class ValidateConsultationForm(CounterAction, FormValidationAction):
    """Checks every fact against the rulebook's limits and keeps it as the rules read it."""

    action = "validate_consultation_form"

    async def required_slots(
        self, domain_slots: list[str], dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any
    ) -> list[str]:
        """Return what the rulebook still asks, then all it may ever ask: people say more than they are asked."""
        decision = tracker.slots["decision"] or {"needs": ()}
        needed = [need["fact"] for need in decision["needs"]]
        return list(dict.fromkeys([*needed, *domain_slots]))

    async def next_requested_slot(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> None:
        """Leave the next question to the decision on the new facts, which is not taken yet."""

    def check(self, slot: str, value: Any, dispatcher: CollectingDispatcher, tracker: Tracker) -> dict[str, Any]:
        """Return the slot as it is kept, or empty with what is wrong."""
        if value is None:
            return {slot: None}
        checked = self.services.check(slot, value, today(tracker))
        if checked.refusal is None:
            return {slot: checked.value}
        told = tracker.slots["refused"]
        if told and told.get("value") == value and told["slot"] == slot.replace("crosses", "mains"):
            # One figure for mains and crosses is refused in one sentence.
            return {slot: None}
        say(dispatcher, "utter_refused", message=checked.refusal)
        return {slot: None, "refused": {"slot": slot, "message": checked.refusal, "value": value}}


def _validator(slot: str) -> Validator:
    async def validate(
        self: ValidateConsultationForm, value: Any, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any
    ) -> dict[str, Any]:
        return self.check(slot, value, dispatcher, tracker)

    return validate


for _slot in FACTS:
    # rasa-sdk looks a validator up by the name of its slot.
    setattr(ValidateConsultationForm, f"validate_{_slot}", _validator(_slot))


class Decide(CounterAction):
    """Lets the rules decide on what is known and takes from them what to ask next."""

    action = "action_decide"

    async def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> Events:
        """Return the decision and the next question."""
        try:
            decision = self.services.decide(known_facts(tracker.slots), today(tracker))
        except ValueRefused as refused:
            say(dispatcher, "utter_refused", message=refused.message)
            fault = {"slot": refused.slot, "message": refused.message}
            return [SlotSet(refused.slot, None), *set_slots(refused=fault, requested_slot=refused.slot)]
        asked = next_question(decision)
        if asked:
            # Nobody is told a decision that still asks; only what it asks for is kept of it.
            decision = {**decision, "trail": []}
        return set_slots(decision=decision, requested_slot=asked)


ESTIMATE = "estimate"
"""What was told of a baseline that nobody measured, so that it is told once."""


class TellVerdict(CounterAction):
    """Tells the verdict with its reasons and stores it."""

    action = "action_tell_verdict"

    async def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> Events:
        """Return that the verdict was told and where it is stored."""
        slots = tracker.slots
        telling = Telling.of(slots["decision"])
        everywhere = [name for racquet in all_racquets(slots).values() for name in racquet["offered"]]
        for key, values in telling.verdict(everywhere, slots["headline"]):
            say(dispatcher, key, **values)
        spoken = list(dict.fromkeys([*slots["offered"], *telling.sentences()]))
        for caution, key, values in telling.cautions():
            if caution not in everywhere:
                say(dispatcher, key, **values)
            spoken.append(caution)
        facts, job_id = known_facts(slots), (slots["record"] or {}).get("job_id")
        foreseen = self.services.foresee(facts, today(tracker), job_id)
        if foreseen and foreseen.name not in spoken:
            spoken.append(foreseen.name)
            for key, values in foreseen_values(foreseen, slots["decision"]):
                say(dispatcher, key, **values)
        if ESTIMATE not in spoken and (estimate := self.services.estimate(facts, today(tracker), slots["record"])):
            spoken.append(ESTIMATE)
            say(dispatcher, "utter_estimated_fresh", **estimate)
        move = self._move(move_offered(foreseen, slots["decision"]), slots)
        number = self.services.consult(facts, slots["decision"], today(tracker), slots["record"])
        kept = [name for name in spoken if name != "why"]
        told = list(telling.headline())
        return set_slots(told=True, headline=told, consultation=number, offered=kept, move=move, requested_slot=None)

    def _move(self, move: Mapping[str, Any] | None, slots: Mapping[str, Any]) -> dict[str, Any] | None:
        """Return the move of a day to be offered, once, where there is a day on record and somebody who may move it."""
        job_id = (slots["record"] or {}).get("job_id")
        if move is None or job_id is None or not self.services.moves_dates or move_name(move) in slots["offered"]:
            return None
        return {**move, "record": slots["record"]}


FULL = frozenset({"full", TRAINEE})
"""With these the whole trail is asked for."""


class Explain(CounterAction):
    """Tells why: first the steps that decided, then, asked again, the whole trail."""

    action = "action_explain"

    async def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> Events:
        """Return that it was explained."""
        slots = tracker.slots
        if not slots["told"] or slots["decision"] is None:
            if slots["requested_slot"] or slots["pending"]:
                explain_question(dispatcher, slots)
            else:
                say(dispatcher, "utter_nothing_decided")
            return []
        lines = further_lines(self.services, tracker)
        if lines is not None:
            for line in lines:
                say(dispatcher, "utter_why_line", says=line)
            if not lines:
                say(dispatcher, "utter_why_no_line")
            return []
        telling = Telling.of(slots["decision"])
        full = "why" in slots["offered"] or bool(FULL & set(tracker.latest_message.get("operations", ())))
        for key, values in telling.trail(slots["words"]) if full else telling.short():
            say(dispatcher, key, **values)
        return set_slots(offered=list(dict.fromkeys([*slots["offered"], "why"])))


class ExplainQuestion(CounterAction):
    """Tells why something is asked: the row of the rulebook that reads the answer."""

    action = "action_explain_question"

    async def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> Events:
        """Return nothing: the question stays open."""
        slots = tracker.slots
        if slots["requested_slot"] or slots["pending"] or slots["options"]:
            explain_question(dispatcher, slots)
            return []
        return await Explain(self.services).run(dispatcher, tracker, domain)


def explain_question(dispatcher: CollectingDispatcher, slots: Mapping[str, Any]) -> None:
    """Say why the open question is asked."""
    if slots["pending"]:
        say(dispatcher, "utter_why_confirm")
        return
    asked = slots["requested_slot"] or "customer_name"
    decision = slots["decision"] or {"needs": (), "strengthens": ()}
    for need in (*decision["needs"], *decision["strengthens"]):
        if need["fact"] == asked:
            say(dispatcher, "utter_why_asked", because=need["because"])
            return
    say(dispatcher, f"utter_why_{asked}")


class WhatIf(CounterAction):
    """Decides again with something supposed, and keeps nothing of it."""

    action = "action_what_if"

    async def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> Events:
        """Return nothing: what was only supposed changes nothing."""
        changes = {claim.slot: claim.value for claim in claims(tracker.latest_message) if claim.slot in FACTS}
        if not changes:
            say(dispatcher, "utter_what_if_how")
            return []
        facts, day = known_facts(tracker.slots), today(tracker)
        try:
            changes = {slot: self.services.settled(slot, value, day) for slot, value in changes.items()}
            now, then = self.services.decide(facts, day), self.services.what_if(facts, changes, day)
        except ValueRefused as refused:
            say(dispatcher, "utter_refused", message=refused.message)
            return []
        key, values = what_if_values(changes, now, then)
        say(dispatcher, key, **values)
        return []


class AskGroup(CounterAction):
    """Asks for the group of players, in the words of the shop's own rows."""

    action = "action_ask_group"

    async def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> Events:
        """Return nothing: the question stays open."""
        groups = list(self.services.groups())
        none = phrase("utter_choice_group_none")
        say_with_choices(dispatcher, "utter_ask_group", [*map(sentence_case, groups), none], groups=groups)
        return []


class NotKnown(CounterAction):
    """Takes "I don't know", and "no" where there is none, for an answer."""

    action = "action_not_known"

    async def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> Events:
        """Return the slot that nobody can fill."""
        slots = tracker.slots
        denied = intent_of(tracker.latest_message) == "deny"
        say(dispatcher, "utter_none" if denied else "utter_not_known")
        asked = slots["requested_slot"]
        if slots["asked_back"]:
            return set_slots(asked_back=None, failures=0)
        cleared = set_slots(requested_slot=None, failures=0)
        if asked not in FACTS:
            return [*cleared, *set_slots(declined=[*slots["declined"], asked])]
        return [*cleared, *set_slots(unknown=[*slots["unknown"], asked]), *outdated()]


class Operate(CounterAction):
    """Changes what is known as a whole: the strings the other way round, kilos for pounds, a value taken away."""

    action = "action_operate"

    async def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> Events:
        """Return the changed slots."""
        slots, operations = tracker.slots, tracker.latest_message["operations"]
        changes: dict[str, Any] = {}
        for operation in operations:
            name, _, slot = operation.partition(":")
            if name == "swap_strings":
                changes |= _swapped(slots)
            elif name in UNITS:
                changes |= _in_unit(slots, UNITS[name])
            elif name == "clear" and slot in FACTS:
                changes[slot] = None
        pending = [_pending_in_unit(claim, operations) for claim in slots["pending"]]
        events = [] if pending == slots["pending"] else set_slots(pending=pending)
        changed = {slot: value for slot, value in changes.items() if value != slots[slot]}
        for slot, value in changed.items():
            checked = self.services.check(slot, value, today(tracker))
            if value is not None and checked.refusal:
                say(dispatcher, "utter_refused", message=checked.refusal)
                fault = {"slot": slot, "message": checked.refusal}
                return [*events, *set_slots(refused=fault, requested_slot=slot)]
        return [*events, *self._changed(dispatcher, tracker, changed)]

    @staticmethod
    def _changed(dispatcher: CollectingDispatcher, tracker: Tracker, changed: Mapping[str, Any]) -> Events:
        """Return the changed slots, said back."""
        slots = tracker.slots
        if not changed:
            return []
        if "swap_strings" in tracker.latest_message["operations"]:
            products = slots["products"]
            turned = {side: products[other] for side, other in (SIDES, SIDES[::-1]) if other in products}
            values = [*facts_phrases({**slots, **changed}, list(changed)), *product_phrases(turned)]
            say(dispatcher, "utter_swapped", values=values)
            return [*set_slots(**changed, products=turned), *outdated()]
        key = slots["racquet_key"]
        noted = [{"slot": slot, "old": None, "racquet": key} for slot in changed if changed[slot] is not None]
        return set_slots(**changed, noted=[*slots["noted"], *noted]) + outdated()


UNITS: Mapping[str, str] = {"unit_kg": "kg", "unit_lb": "lb"}


def _swapped(slots: Mapping[str, Any]) -> dict[str, Any]:
    """Return mains and crosses changed round, material by material and tension by tension."""
    changes: dict[str, Any] = {}
    for side in ("material", "tension"):
        mains, crosses = slots[f"mains_{side}"], slots[f"crosses_{side}"]
        if mains is not None and crosses not in (None, "same_as_mains"):
            changes |= {f"mains_{side}": crosses, f"crosses_{side}": mains}
    return changes


def _in_unit(slots: Mapping[str, Any], unit: str) -> dict[str, Any]:
    return {
        slot: {**slots[slot], "unit": unit}
        for slot in ("mains_tension", "crosses_tension")
        if isinstance(slots[slot], Mapping)
    }


def _pending_in_unit(claim: dict[str, Any], operations: list[str]) -> dict[str, Any]:
    unit = next((UNITS[name] for name in operations if name in UNITS), None)
    if unit and isinstance(claim["value"], Mapping) and "unit" in claim["value"]:
        return {**claim, "value": {**claim["value"], "unit": unit}}
    return claim
