"""What is said at the bench: strung, what is next, a label, and taking the last entry back; decides nothing."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rasa_sdk.events import ActiveLoop
from rasa_sdk.executor import CollectingDispatcher
from rasa_sdk.interfaces import Tracker

from dialogue.actions.base import CounterAction, Events, customer_slot, racquet_of, say, sealed, set_slots, today
from dialogue.actions.whose import STRINGS, told_strings
from dialogue.racquets import FACTS
from dialogue.services import RacquetCard
from dialogue.telling import Telling
from dialogue.translate import Phrase, day_phrase, phrase

OVER = (ActiveLoop(None), *set_slots(requested_slot=None))
"""The end of an errand."""
LISTED = 3
"""How many more racquets are named after the next one."""


class MarkStrung(CounterAction):
    """Writes down that a racquet was strung today, and tells until when the strings are good."""

    action = "action_mark_strung"

    async def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> Events:
        """Return the racquet with its new strings, so that a baseline may follow."""
        racquet_id = (tracker.slots["record"] or {}).get("racquet_id")
        strung = self.services.mark_strung(racquet_id, today(tracker)) if racquet_id else None
        if strung is None:
            say(dispatcher, "utter_nothing_to_string")
            return list(OVER)
        if strung.refusal:
            say(dispatcher, "utter_refused", message=strung.refusal)
            return [*OVER, *set_slots(told=True)]
        racquet = racquet_of(strung.card)
        say(dispatcher, "utter_strung", racquet=racquet, answer=Telling.of(strung.decision).summary())
        for sentence in strung.remarks:
            say(dispatcher, "utter_story", says=sentence)
        if not strung.remarks:
            say(dispatcher, "utter_baseline_next")
        facts = {name: strung.card.facts.get(name) for name in FACTS}
        kept = set_slots(**facts, decision=strung.decision, record=strung.card.to_record(), told=True, at_bench=True)
        kept += set_slots(products={}, words={}, unknown=[])
        what = phrase("utter_undone_strung", racquet=racquet)
        return [*OVER, *kept, *sealed(self, tracker.slots, what, keep=True)]


class TellBench(CounterAction):
    """Tells which racquet is to be strung next."""

    action = "action_tell_bench"

    async def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> Events:
        """Return the next one as the racquet that is talked of."""
        waiting = self.services.bench(today(tracker))
        if not waiting:
            say(dispatcher, "utter_bench_empty")
            return []
        first, *rest = waiting
        say(dispatcher, "utter_next_on_bench", entry=_entry(first.card, first.promised_on))
        if rest:
            names = [racquet_of(each.card) for each in rest[:LISTED]]
            say(dispatcher, "utter_after_that", entries=names, n=len(rest))
        customer = customer_slot(first.card.name, first.card.customer_id) if first.card.customer_id else None
        return set_slots(record=first.card.to_record(), customer=customer, told=True, at_bench=True)


def _entry(card: RacquetCard, promised_on: Any) -> Phrase:
    values = {"racquet": racquet_of(card), "strings": told_strings(card, STRINGS), "tag": card.tag}
    if promised_on:
        return phrase("utter_bench_entry_promised", date=day_phrase(promised_on), **values)
    return phrase("utter_bench_entry", **values)


class ShowLabel(CounterAction):
    """Tells what stands on a racquet's label and how it is printed."""

    action = "action_show_label"

    async def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> Events:
        """Return the end of the errand."""
        record: Mapping[str, Any] = tracker.slots["record"] or {}
        label = self.services.label(record["racquet_id"], today(tracker)) if record.get("racquet_id") else None
        if label is None:
            say(dispatcher, "utter_no_label")
        elif label.refusal:
            say(dispatcher, "utter_refused", message=label.refusal)
        else:
            key = "utter_label_about" if label.about else "utter_label"
            say(dispatcher, key, racquet=racquet_of(label.card), date=day_phrase(label.restring_by))
            parts = {"strings": label.strings, "day": day_phrase(label.strung_on), "tag": label.card.tag}
            say(dispatcher, "utter_label_lines", spelt=" ".join(label.card.tag), **parts)
        return [*OVER, *set_slots(told=True)]


class TakeBack(CounterAction):
    """Takes back what this talk wrote on a card last."""

    action = "action_take_back"

    async def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> Events:
        """Return the talk without what was taken back."""
        written = tracker.slots["written"]
        refusal = self.services.take_back(written["unit"])
        if refusal:
            say(dispatcher, "utter_not_undone")
            return set_slots(written=None)
        say(dispatcher, "utter_undone", what=written["what"])
        forgotten = set_slots(**dict.fromkeys(FACTS), products={}, words={}, unknown=[], offered=[], decision=None)
        over = [*OVER, *forgotten, *set_slots(told=True, pending=[], options=None, noted=[], frame_check=None)]
        over += set_slots(written=None)
        if written["keep"]:
            return over
        return [*over, *set_slots(record=None, customer=None, customer_name=None, consultation=None, at_bench=False)]
