"""A reading that was said: written on the racquet's card, with what it changes and when more will be lost."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

from rasa_sdk.events import ActiveLoop
from rasa_sdk.executor import CollectingDispatcher
from rasa_sdk.interfaces import Tracker

from dialogue.actions.base import CounterAction, Events, racquet_of, say, sealed, set_slots, today
from dialogue.actions.moving import offer_move
from dialogue.actions.whose import recall_customer
from dialogue.errors import ValueRefused
from dialogue.intake import DOUBTFUL, Claim
from dialogue.racquets import FACTS
from dialogue.services import Logged
from dialogue.telling import Telling, foreseen_values, move_offered
from dialogue.translate import phrase, reading_phrase


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
        kept = logged.card.facts.get("baseline" if logged.fresh else "reading") or [slots[_said_as(slots)]]
        self._tell(dispatcher, logged, kept[-1])
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
        events = recall_customer(self, dispatcher, tracker, customer) if known else []
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
