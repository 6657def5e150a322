"""A tension at which a changed bed feels the same: what it takes is asked, the range told, the start offered."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from rasa_sdk.events import ActiveLoop
from rasa_sdk.executor import CollectingDispatcher
from rasa_sdk.interfaces import Tracker

from dialogue.actions.base import CounterAction, Events, say, set_slots
from dialogue.advising import DROP_OFF, FEEL, FEEL_QUESTIONS, OF_TWO_BEDS
from dialogue.forms import said_strings
from dialogue.phrases import sentence_case
from dialogue.racquets import STRING_FACTS
from dialogue.translate import facts_phrases, tension_phrase


class SameFeel(CounterAction):
    """Begins to hold two beds against each other: what is on record, and what was said of either."""

    action = "action_same_feel"

    async def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> Events:
        """Return both beds as far as they are known, and the form that asks for the rest."""
        slots = tracker.slots
        loop = (tracker.active_loop or {}).get("name")
        back = (slots["feel"] or {}).get("back") if loop == FEEL else loop
        said = slots["same_feel"] or {"old": {}, "new": {}}
        frame = bool(said.get("frame"))
        dropping = back == DROP_OFF
        record = slots["record"] or slots["customer"]
        felt = self.services.felt_before(record, other=frame) if dropping or slots["record"] else None
        racquet_id = (slots["record"] or {}).get("racquet_id") if dropping else None
        if felt and dropping:
            frame = felt["racquet_id"] != racquet_id
        if said["old"].get("mains_material"):
            felt = None  # it is told in so many words
        old, new = dict(said["old"]), dict(said["new"])
        if said_strings(slots) and slots["mains_material"] is not None:
            strung = new if dropping else old
            facts = {name: slots[name] for name in STRING_FACTS if slots[name] is not None and name in slots["words"]}
            strung |= {name: value for name, value in facts.items() if name not in strung and _tells(name, dropping)}
        begun = {"back": back, "old": old, "new": new, "frame": frame, "racquet_id": racquet_id}
        begun |= {"job_id": felt["job_id"] if felt else None, "felt": felt}
        declined = [slot for slot in slots["declined"] if slot not in FEEL_QUESTIONS]
        state = {"feel": begun, "same_feel": None, "advise": None, "asks": [], "declined": declined}
        return [ActiveLoop(FEEL), *set_slots(**state, requested_slot=None, failures=0)]


def _tells(name: str, dropping: bool) -> bool:  # noqa: FBT001 - one of the state's own two cases
    """Tell whether a fact of the talk is one of the bed: of strings that are to go in the tension is what is sought."""
    return not (dropping and name.endswith("tension"))


class WeighFeel(CounterAction):
    """Adds what was just said of either bed, and sees what it still takes."""

    action = "action_weigh_feel"

    async def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> Events:
        """Return both beds, and what to ask next."""
        slots = tracker.slots
        said = slots["same_feel"] or {}
        feel = {**slots["feel"], **{bed: {**slots["feel"][bed], **said.get(bed, {})} for bed in ("old", "new")}}
        feel["frame"] = feel["frame"] or bool(said.get("frame"))
        missing = self.services.match_feel(feel, slots["printed_range"], slots["declined"])["missing"]
        return set_slots(feel=feel, same_feel=None, asks=missing[:1])


class TellFeel(CounterAction):
    """Tells where to start, between which figures, and what was assumed; goes on where it was asked for."""

    action = "action_tell_feel"

    async def run(self, dispatcher: CollectingDispatcher, tracker: Tracker, domain: Any) -> Events:
        """Return the start as something that may be taken."""
        slots = tracker.slots
        feel = slots["feel"]
        answer = self.services.match_feel(feel, slots["printed_range"], slots["declined"])
        over = [ActiveLoop(feel["back"]), *set_slots(asks=[], requested_slot=None, failures=0)]
        over += [] if feel["back"] else set_slots(told=True)
        found = answer["found"]
        if found is None:
            if answer["install"]:
                say(dispatcher, "utter_feel_install", message=answer["install"])
            else:
                say(dispatcher, "utter_feel_open" if answer["missing"] else "utter_feel_impossible")
            return over
        self._tell(dispatcher, feel, found)
        trail = [
            {"says": says, "source": found["source"], "table": OF_TWO_BEDS}
            for says in (found["matched"], *found["assumed"])
        ]
        advice = {
            "back": feel["back"],
            "told": True,
            "settled": False,
            "mains_material": found["mains_material"],
            "crosses_material": found["crosses_material"],
            "mains_tension": found["mains"],
            "crosses_tension": found["crosses"],
            "trail": trail,
        }
        return [*over, *set_slots(advice=advice)]

    def _tell(self, dispatcher: CollectingDispatcher, feel: Mapping[str, Any], found: Mapping[str, Any]) -> None:
        if felt := feel["felt"]:
            facts = facts_phrases(felt["facts"], [name for name in STRING_FACTS if name in felt["facts"]])
            if felt["racquet"]:
                say(dispatcher, "utter_feel_against", racquet=felt["racquet"], facts=facts)
            else:
                say(dispatcher, "utter_feel_against_plain", facts=facts)
        pulls = {name: tension_phrase(found[name]) for name in ("mains", "crosses", "low", "high")}
        ends = {"low": pulls["low"], "high": pulls["high"]}
        if not self.services.advises_figures:
            say(dispatcher, "utter_feel_between", **ends)
        elif found["mains"] == found["crosses"]:
            say(dispatcher, "utter_feel_start", tension=pulls["mains"], **ends)
        else:
            say(dispatcher, "utter_feel_start_sides", tension=pulls["mains"], crosses=pulls["crosses"], **ends)
        for says in found["says"]:
            say(dispatcher, "utter_advice_line", says=sentence_case(says))
