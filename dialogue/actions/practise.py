"""Practice by talk: a situation, three questions, the marks, and the next one until somebody has had enough."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from typing import Any

from rasa_sdk.executor import CollectingDispatcher
from rasa_sdk.interfaces import Tracker

from dialogue.actions.base import CounterAction, Events, say, say_with_choices, set_slots, today
from dialogue.intake import intent_of
from dialogue.options import answer_to, chosen
from dialogue.racquets import FACTS, known_facts
from dialogue.translate import day_phrase, facts_phrases, phrase

TRAINEE = "trainee"
"""Whose course it is where nobody says a name."""
STAGES = ("verdict", "date", "reason")
VERDICTS = ("restring_now", "restring_soon", "play_on", "need_more")
RIDDEN = ("verdict", "date")
"""What a trainee is asked in a real consultation."""
MISSING = object()


class Exercising(CounterAction):
    """What practice and a real consultation have in common."""

    def _part(self, stage: str, state: Mapping[str, Any], tracker: Tracker) -> Any:
        """Return one part of the answer; a month named alone is over on its last day, as on a label."""
        day = dt.date.fromisoformat(state["exercise"]["today"]) if "exercise" in state else today(tracker)
        return read_part(stage, state, tracker.latest_message, lambda said: self.services.latest_day(said, day))


class Practise(Exercising):
    """Puts a situation, takes the three parts of the answer one after the other, and marks them."""

    action = "action_practise"

    async def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> Events:
        """Return where the practice stands."""
        state, message = tracker.slots["practice"], tracker.latest_message
        if state is None:
            name = self.services.trainee_in(message["text"])
            say(dispatcher, "utter_practice_begin_named" if name else "utter_practice_begin", name=name)
            return self._put(dispatcher, tracker, {"done": 0, "right": 0, "trainee": name or TRAINEE})
        if intent_of(message) == "stop" or answer_to("practice_end", message["text"]):
            say(dispatcher, "utter_practice_end", n=state["done"], right=state["right"])
            return set_slots(practice=None)
        stage = state["stage"]
        part = self._part(stage, state, tracker)
        if part is MISSING:
            say(dispatcher, f"utter_practice_again_{stage}")
            ask_part(dispatcher, stage, state["exercise"])
            return []
        state = {**state, "answer": {**state["answer"], stage: part}}
        left = [each for each in STAGES if each not in state["answer"]]
        if left:
            ask_part(dispatcher, left[0], state["exercise"])
            return set_slots(practice={**state, "stage": left[0]})
        return self._mark(dispatcher, tracker, state)

    def _put(self, dispatcher: CollectingDispatcher, tracker: Tracker, state: Mapping[str, Any]) -> Events:
        exercise = self.services.next_exercise(state["trainee"], today(tracker))
        known = {slot: exercise["facts"][slot] for slot in FACTS if exercise["facts"].get(slot) is not None}
        day = day_phrase(exercise["today"])
        if known:
            say(dispatcher, "utter_practice_situation", day=day, facts=facts_phrases(known, list(known)))
        else:
            say(dispatcher, "utter_practice_nothing", day=day)
        ask_part(dispatcher, STAGES[0], exercise)
        return set_slots(practice={**state, "exercise": exercise, "stage": STAGES[0], "answer": {}})

    def _mark(self, dispatcher: CollectingDispatcher, tracker: Tracker, state: Mapping[str, Any]) -> Events:
        trainee = state["trainee"]
        marks = self.services.mark_exercise(trainee, today(tracker), state["exercise"], state["answer"])
        if marks["right"]:
            say(dispatcher, "utter_practice_right")
        else:
            told = {part: phrase(f"utter_practice_{str(marks[part]).lower()}") for part in STAGES}
            say(dispatcher, "utter_practice_marks", **told)
            due = marks["expected"]["date"]
            values = {"verdict": phrase(f"utter_short_{marks['expected']['verdict']}")}
            say(
                dispatcher,
                "utter_practice_is",
                day=day_phrase(due) if due else phrase("utter_practice_no_day"),
                **values,
            )
            for line in marks["lines"]:
                say(dispatcher, "utter_practice_line", says=line)
        counts = {"done": state["done"] + 1, "right": state["right"] + bool(marks["right"]), "trainee": trainee}
        return self._put(dispatcher, tracker, counts)


class RideAlong(Exercising):
    """Lets a trainee answer first in a real consultation: verdict and day, marked before the answer is told."""

    action = "action_ride_along"

    async def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> Events:
        """Return where the trainee stands; none once the answer is marked."""
        slots, message = tracker.slots, tracker.latest_message
        state = slots["riding"]
        if state is None:
            name = self.services.trainee_in(message["text"])
            say(dispatcher, "utter_ride_along_named" if name else "utter_ride_along", name=name)
            return set_slots(riding={"stage": None, "answer": {}, "trainee": name or TRAINEE})
        if state["stage"] is None:
            ask_part(dispatcher, STAGES[0], {})
            return set_slots(riding={**state, "stage": STAGES[0]})
        part = self._part(state["stage"], state, tracker)
        if part is MISSING:
            say(dispatcher, f"utter_practice_again_{state['stage']}")
            ask_part(dispatcher, state["stage"], {})
            return []
        answer = {**state["answer"], state["stage"]: part}
        if RIDDEN[-1] not in answer:
            ask_part(dispatcher, RIDDEN[-1], {})
            return set_slots(riding={**state, "stage": RIDDEN[-1], "answer": answer})
        facts = known_facts(slots)
        marks = self.services.mark_ride(state["trainee"], today(tracker), slots["decision"], facts, answer)
        told = {name: phrase(f"utter_practice_{str(marks[name]).lower()}") for name in RIDDEN}
        say(dispatcher, "utter_ride_along_marks", **told)
        return set_slots(riding=None)


def read_part(
    stage: str, state: Mapping[str, Any], message: Mapping[str, Any], read_day: Callable[[Mapping[str, Any]], Any]
) -> Any:
    """Return one part of an answer out of a turn's words, or that it is missing; no day at all is None."""
    if stage == "verdict":
        answer = answer_to("practice_verdict", message["text"])
        return answer[0] if answer else MISSING
    if stage == "date":
        days = [entity["value"] for entity in message["entities"] if entity["entity"] == "label_due"]
        if days:
            return read_day(days[0])
        none = intent_of(message) == "deny" or answer_to("practice_no_day", message["text"])
        return None if none else MISSING
    exercise = state["exercise"]
    entries = [
        {"text": says, "value": row, "marks": [says]}
        for row, says in zip(exercise["choices"], exercise["sentences"], strict=True)
    ]
    picked = chosen({"entries": entries}, message)
    return picked[0] if picked else MISSING


def ask_part(dispatcher: CollectingDispatcher, stage: str, exercise: Mapping[str, Any]) -> None:
    """Ask for one part of the answer."""
    if stage == "verdict":
        choices = [phrase(f"utter_practice_verdict_{verdict}") for verdict in VERDICTS]
        say_with_choices(dispatcher, "utter_practice_ask_verdict", choices)
    elif stage == "date":
        say(dispatcher, "utter_practice_ask_date")
    else:
        say(dispatcher, "utter_practice_ask_reason", title=exercise["title"])
        for number, says in enumerate(exercise["sentences"], 1):
            say(dispatcher, "utter_practice_choice", n=number, says=says)
