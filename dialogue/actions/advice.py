"""Advice on strings and tension: asked for, told with its reasons, offered, taken; decides nothing by itself."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rasa_sdk.events import ActiveLoop
from rasa_sdk.executor import CollectingDispatcher
from rasa_sdk.interfaces import Tracker

from dialogue.actions.base import CounterAction, Events, say, set_slots, today
from dialogue.advising import ADVICE, DROP_OFF, OF_TWO_BEDS, open_advice, open_tension
from dialogue.forms import said_strings
from dialogue.intake import claims, intent_of, outdated
from dialogue.phrases import sentence_case
from dialogue.racquets import known_facts
from dialogue.services import Services
from dialogue.translate import facts_phrases, tension_phrase

STRINGS, PULLS = ("mains_material", "crosses_material"), ("mains_tension", "crosses_tension")
ON_TENSION = "act.advise_tension"
"""The cue of somebody who asks for the tension of strings that are named."""
WHY_NOT = "why_not"
"""What is asked about: strings that were not advised."""
ADVISED = "advised"
"""The words kept for strings that were taken as advised."""


def find_advice(services: Services, tracker: Tracker, back: str | None) -> dict[str, Any] | None:
    """Return what the rulebook advises on the racquet being talked of, as JSON."""
    slots = tracker.slots
    asked_for = tracker.slots["advice"] and tracker.slots["advice"].get("wanted")
    wanted = (back == DROP_OFF or asked_for) and slots["mains_material"] is not None and said_strings(slots)
    return services.advise(known_facts(slots), slots["printed_range"], today(tracker), wanted=wanted)


class Advise(CounterAction):
    """Begins to advise, where the rulebook can; whoever hesitates before what was advised hears what it is for."""

    action = "action_advise"

    async def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> Events:
        """Return the form that asks what the advice needs, and where to go on afterwards."""
        slots = tracker.slots
        loop, asked = (tracker.active_loop or {}).get("name"), slots["requested_slot"]
        if loop == DROP_OFF and asked == "mains_tension" and not slots["printed_range"] and slots["mains_material"]:
            say(dispatcher, "utter_advice_left_open")
            return set_slots(unknown=[*slots["unknown"], asked], requested_slot=None, advise=None, failures=0)
        if loop == DROP_OFF and open_advice(slots) and asked != "mains_tension":
            say(dispatcher, "utter_advice_again")
            return set_slots(failures=slots["failures"] + 1)
        if find_advice(self.services, tracker, loop) is None:
            say(dispatcher, "utter_advice_none")
            left = [*slots["unknown"], asked] if intent_of(tracker.latest_message) == "dont_know" else slots["unknown"]
            return set_slots(unknown=left, requested_slot=None, advise=None)
        back = slots["advice"]["back"] if loop == ADVICE else loop
        message = tracker.latest_message
        wanted = message.get("rule") == ON_TENSION and any(claim.slot == STRINGS[0] for claim in claims(message))
        begun = {"back": back, "told": False, "settled": False, "wanted": wanted}
        return [ActiveLoop(ADVICE), *set_slots(advice=begun, advise=None, asks=[], requested_slot=None, failures=0)]


class WeighAdvice(CounterAction):
    """Sees from the rulebook what the advice still turns on; the form asks for it."""

    action = "action_weigh_advice"

    async def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> Events:
        """Return what to ask, first to ask first, with the reasons."""
        advice = find_advice(self.services, tracker, tracker.slots["advice"]["back"])
        needs = advice["needs"] if advice else []
        return set_slots(asks=[need["fact"] for need in needs[:1]], advice={**tracker.slots["advice"], "needs": needs})


class TellAdvice(CounterAction):
    """Tells what is advised, row by row with its reasons, and goes on where advice was asked for."""

    action = "action_tell_advice"

    async def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> Events:
        """Return the advice as it stands."""
        slots = tracker.slots
        back = slots["advice"]["back"]
        found = find_advice(self.services, tracker, back)
        if found is None:
            say(dispatcher, "utter_advice_none")
            return [ActiveLoop(back), *set_slots(requested_slot=None, told=True)]
        for step in found["trail"]:
            say(dispatcher, "utter_advice_line", says=step["says"])
        if back != DROP_OFF:
            self._sum_up(dispatcher, found)
        pull = None if found["tension_lb"] is None else {"value": found["tension_lb"], "unit": "lb"}
        told = {**slots["advice"], **found, "told": True, "mains_tension": pull, "crosses_tension": pull}
        events = [ActiveLoop(back), *set_slots(advice=told, asks=[], requested_slot=None, failures=0)]
        return events if back else [*events, *set_slots(told=True)]

    def _sum_up(self, dispatcher: CollectingDispatcher, found: Mapping[str, Any]) -> None:
        """Say what to start from where nothing is being left: nobody need say yes to it."""
        strings = facts_phrases(found, STRINGS)
        if found["range_lb"] is None:
            say(dispatcher, "utter_advice_strings", strings=strings)
        elif self.services.advises_figures:
            say(dispatcher, "utter_advice_strings_at", strings=strings, tension=_in_lb(found["tension_lb"]))
        else:
            low, high = map(_in_lb, found["range_lb"])
            say(dispatcher, "utter_advice_strings", strings=strings)
            say(dispatcher, "utter_advice_between", low=low, high=high)


class ExplainAdvice(CounterAction):
    """Tells why that is advised: its trail, row by row with the sources; or why something is asked for it."""

    action = "action_explain_advice"

    async def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> Events:
        """Return nothing: what was advised stays open."""
        slots = tracker.slots
        advice = slots["advice"]
        if not advice["told"]:
            because = {need["fact"]: need["because"] for need in advice["needs"]}
            say(dispatcher, "utter_why_asked", because=because[slots["requested_slot"]])
            return []
        other = next((claim.value for claim in claims(tracker.latest_message) if claim.slot == WHY_NOT), None)
        if other and advice["trail"][0]["table"] != OF_TWO_BEDS:
            for line in self.services.why_not_advised(known_facts(slots), today(tracker), other):
                say(dispatcher, "utter_why_line", says=sentence_case(line))
            return []
        sources = [step["source"] for step in advice["trail"]]
        for step, following in zip(advice["trail"], [*sources[1:], None], strict=True):
            # A source that holds for several lines in a row is named behind the last of them.
            if step["source"] == following:
                say(dispatcher, "utter_why_line", says=step["says"])
            else:
                say(dispatcher, "utter_why_step", says=step["says"], source=step["source"])
        return []


class AnswerAdvice(CounterAction):
    """Takes yes or no to what was advised."""

    action = "action_answer_advice"

    async def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> Events:
        """Return the strings and the tension as advised, or that others are wanted."""
        slots = tracker.slots
        advice = slots["advice"]
        if intent_of(tracker.latest_message) != "affirm":
            return set_slots(advice={**advice, "settled": True, "taken": False}, failures=0)
        wanted = said_strings(slots) and slots["mains_material"] is not None
        taken: dict[str, Any] = {} if wanted else {name: advice[name] for name in STRINGS}
        if advice["mains_tension"] is not None and (slots["mains_tension"] is None or not said_strings(slots)):
            taken |= {name: advice[name] for name in PULLS}
        words = {**slots["words"], **dict.fromkeys(taken, ADVISED)}
        settled = {**advice, "settled": True, "taken": True}
        # Strings that were advised are others than last time, and none of the shop's products by name.
        other: dict[str, Any] = {} if wanted else {"same_as": "other", "products": {}}
        answered = {"words": words, "advice": settled, "failures": 0, "requested_slot": None}
        return [*set_slots(**taken, **other, **answered), *outdated()]


class _AskWanted(CounterAction):
    """Asks what shall go in: by what was advised, where that is open."""

    def ask(self, dispatcher: CollectingDispatcher, slots: Mapping[str, Any], plain: str) -> Events:
        """Offer what was advised, or ask the plain question."""
        advice = open_advice(slots)
        if not advice:
            say(dispatcher, plain)
        elif open_tension(slots):
            say(dispatcher, "utter_ask_take_tension", tension=facts_phrases(advice, PULLS))
        elif advice["mains_tension"] is None or (slots["mains_tension"] is not None and said_strings(slots)):
            say(dispatcher, "utter_ask_take_strings", strings=facts_phrases(advice, STRINGS))
        else:
            strings, tension = facts_phrases(advice, STRINGS), facts_phrases(advice, PULLS)
            alike = advice["mains_tension"] == advice["crosses_tension"]
            key = "utter_ask_take_strings_at" if alike else "utter_ask_take_strings_sides"
            say(dispatcher, key, strings=strings, tension=tension)
        return []


class AskSameAs(_AskWanted):
    """Asks whether the strings of last time go in again."""

    action = "action_ask_drop_off_form_same_as"

    async def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> Events:
        """Return nothing: the question stays open."""
        return self.ask(dispatcher, tracker.slots, "utter_ask_same_as")


class AskStrings(_AskWanted):
    """Asks which strings shall go in."""

    action = "action_ask_drop_off_form_mains_material"

    async def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> Events:
        """Return nothing: the question stays open."""
        return self.ask(dispatcher, tracker.slots, "utter_ask_wanted_strings")


class AskTension(_AskWanted):
    """Asks for the tension."""

    action = "action_ask_drop_off_form_mains_tension"

    async def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> Events:
        """Return nothing: the question stays open."""
        if open_advice(tracker.slots) and not open_tension(tracker.slots):
            say(dispatcher, "utter_ask_wanted_tension")
            return []
        return self.ask(dispatcher, tracker.slots, "utter_ask_wanted_tension")


def _in_lb(value: float) -> dict[str, Any]:
    return tension_phrase({"value": value, "unit": "lb"})
