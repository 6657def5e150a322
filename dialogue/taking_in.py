"""Keeping what a turn said: each value to its racquet, checked, noted, or put off until it is read back."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any

from rasa_sdk.events import ActionExecuted, SlotSet

from dialogue.counter_words import DECLINES
from dialogue.intake import BACK_QUESTIONS, DOUBTFUL, Claim, by_owner, claims, contradicts, kept, merged
from dialogue.products import MATERIALS, on_sides
from dialogue.racquets import FACTS, SELF, STRING_FACTS, fresh_racquet, known_facts, take_up, whose
from dialogue.services import Services
from dialogue.tracker import Talk
from dialogue.translate import stepped

OTHER = "other"
COUNT = "racquet_count"
ASKED_ANEW: Mapping[str, tuple[str, ...]] = {
    "same_as": (*STRING_FACTS, "outside"),
    "wish": ("mains_tension", "crosses_tension", "outside"),
}
"""What is asked for anew once something else than last time, or than was wished for, is wanted."""
READ_BACK_TIMES = 2
"""Whoever passes over a read-back so often is asked again when the rules still want the answer."""


class TakingIn:
    """Keeps the values of a turn."""

    def __init__(self, services: Services) -> None:
        self._services = services

    def run(self, talk: Talk, today: dt.date, validate: Callable[[], None]) -> None:
        """Keep what this turn said; `validate` runs the form's validation on the slots set last."""
        settled = frozenset(claim["slot"] for claim in talk.slots["confirmed"])
        said = self._said(talk)
        # "Undo" means what was done last: once more was said, that is no longer what was written.
        talk.apply([SlotSet("written", None)] if said and talk.slots["written"] else [])
        self._ask_back(talk)
        self._keep_of_the_talk(talk, [claim for claim in said if claim.slot not in FACTS], today)
        facts = [claim for claim in said if claim.slot in FACTS]
        owners = [claim.owner for claim in facts]
        facts = [replace(claim, owner=whose(talk.slots, claim.owner, owners)) for claim in facts]
        unowned = [claim.slot for claim in facts if claim.owner is None]
        for owner, group in by_owner(facts):
            talk.apply(take_up(talk, owner, unowned))
            sure, waiting = self._sort(talk, group, today, settled)
            self._keep(talk, sure, validate)
            self._close_questions(talk, sure, waiting)

    @staticmethod
    def _said(talk: Talk) -> list[Claim]:
        """Return what was just confirmed and what was stated, each slot of each owner once, the last word counting."""
        confirmed = [Claim.from_json(claim) for claim in talk.slots["confirmed"]]
        settled = {claim.slot for claim in confirmed}
        stated = [claim for claim in claims(talk.latest_message) if claim.slot not in settled]
        talk.apply([SlotSet("confirmed", [])] if confirmed else [])
        return list({(claim.slot, claim.owner): claim for claim in [*confirmed, *stated]}.values())

    @staticmethod
    def _ask_back(talk: Talk) -> None:
        for question in talk.latest_message.get("questions", ()):
            kind, _, slot = question.partition(":")
            if kind in BACK_QUESTIONS:
                asked, key = BACK_QUESTIONS[kind]
                talk.apply([SlotSet("asked_back", {"slot": slot or asked, "key": key})])

    def _keep_of_the_talk(self, talk: Talk, said: Sequence[Claim], today: dt.date) -> None:
        """Keep what belongs to the conversation rather than to one racquet."""
        for claim in _counted(talk, said):
            if claim.slot == DECLINES:
                talk.apply([SlotSet("declined", list(dict.fromkeys([*talk.slots["declined"], *claim.value])))])
                continue
            before = {claim.slot: talk.slots[claim.slot]}
            if claim.slot == "customer_name":
                self._name(talk, claim)
            elif claim.slot == "reading_kind":
                self._kind(talk, claim)
                continue
            elif claim.value == OTHER and claim.slot in ASKED_ANEW:
                talk.apply([SlotSet(name, None) for name in ASKED_ANEW[claim.slot]])
                if claim.slot == "same_as":
                    talk.apply([SlotSet("products", {}), SlotSet("same_as", OTHER)])
            elif claim.slot == "tension_step" and (moved := stepped(talk.slots, claim.value)):
                words = {**talk.slots["words"], **dict.fromkeys(moved, claim.words)}
                talk.apply([*(SlotSet(name, value) for name, value in moved.items()), SlotSet("words", words)])
                key = talk.slots["racquet_key"]
                noted = [{"slot": name, "old": None, "racquet": key} for name in moved]
                talk.apply([SlotSet("noted", [*talk.slots["noted"], *noted])])
                continue
            elif claim.slot == "promised_on":
                talk.apply([SlotSet("promised_on", self._services.day(claim.value, today))])
            else:
                talk.apply([SlotSet(claim.slot, claim.value)])
            talk.apply(kept(talk, [claim], before))

    @staticmethod
    def _kind(talk: Talk, claim: Claim) -> None:
        """Tell the instrument of readings that were named without one."""
        for slot in ("reading", "baseline"):
            value = talk.slots[slot]
            entry = value[0] if isinstance(value, list) else value
            if isinstance(entry, Mapping) and entry.get("kind") is None:
                before = {slot: value}
                talk.apply([SlotSet(slot, [{**entry, "kind": claim.value}])])
                talk.apply(kept(talk, [Claim(slot, talk.slots[slot], claim.words)], before))

    @staticmethod
    def _name(talk: Talk, claim: Claim) -> None:
        slots = talk.slots
        if slots["customer"] and str(claim.value).casefold() in slots["customer"]["name"].casefold():
            return
        if slots["record"]:
            talk.apply(fresh_racquet(slots))
        # Whoever names somebody else leaves a choice between namesakes open no longer.
        talk.apply([SlotSet("customer", None), SlotSet("customer_name", None), SlotSet("options", None)])
        talk.apply([SlotSet("customer_name", claim.value)])

    def _sort(
        self, talk: Talk, group: Sequence[Claim], today: dt.date, settled: frozenset[str]
    ) -> tuple[list[Claim], list[Claim]]:
        """Return what may be kept and what must be read back first; what was just confirmed need not be again."""
        sure: list[Claim] = []
        waiting: list[Claim] = []
        for said in group:
            claim = self._absolute(said, {**talk.slots, **{each.slot: each.value for each in sure}})
            if claim is None:
                # "Two pounds less", of mains that are not known yet: nobody shall lose it unheard.
                talk.apply([SlotSet("asked_back", {"slot": said.slot, "key": f"utter_ask_{said.slot}"})])
                continue
            if claim.why is None and claim.slot not in settled and contradicts(claim, talk):
                claim = replace(claim, why="contradiction")
            claim = replace(claim, value=merged(claim, talk))
            if claim.slot == "baseline" and claim.why is None and claim.slot not in settled:
                claim = self._doubted(claim, talk, group, today)
            if claim.why:
                # What cannot be need not be read back: it goes to be refused.
                checked = self._services.check(claim.slot, claim.value, today)
                claim = replace(claim, why=None) if checked.refusal else replace(claim, value=checked.value)
            (waiting if claim.why else sure).append(claim)
        return sure, waiting

    def _doubted(self, claim: Claim, talk: Talk, group: Sequence[Claim], today: dt.date) -> Claim:
        """Return a baseline as one to be read back where the strings can hardly have read so."""
        known = known_facts(talk.slots) | {other.slot: other.value for other in group if other.slot in FACTS}
        doubt = self._services.doubt_baseline({**known, "baseline": claim.value}, today)
        return replace(claim, why=DOUBTFUL, says=doubt) if doubt else claim

    def _keep(self, talk: Talk, sure: Sequence[Claim], validate: Callable[[], None]) -> None:
        """Set the slots, let the form's validation check them, and note what changed."""
        if not sure:
            return
        before = {claim.slot: talk.slots[claim.slot] for claim in sure}
        slots = (SlotSet(claim.slot, claim.value) for claim in sure)
        talk.apply([ActionExecuted("consultation_form"), *slots])
        validate()
        refused = self._restore_refused(talk, before)
        talk.apply(kept(talk, [claim for claim in sure if claim.slot not in refused], before))
        self._keep_products(talk, sure)

    @staticmethod
    def _keep_products(talk: Talk, sure: Sequence[Claim]) -> None:
        """Keep which of the shop's products the materials were said as, and note it."""
        slots = talk.slots
        materials = [(claim.slot, claim.value, claim.product) for claim in sure if claim.slot in MATERIALS]
        products = on_sides(slots["products"], materials)
        if products != slots["products"]:
            note = {"slot": "products", "old": None, "racquet": slots["racquet_key"]}
            talk.apply([SlotSet("products", products), SlotSet("noted", [*slots["noted"], note])])

    def _absolute(self, claim: Claim, slots: Mapping[str, Any]) -> Claim | None:
        """Return a claim whose value stands by itself, or None where what it leans on is not known."""
        if not (isinstance(claim.value, Mapping) and claim.value.get("relative_to")):
            return claim
        value = self._services.absolute(claim.value, slots["mains_tension"])
        return None if value is None else replace(claim, value=value)

    @staticmethod
    def _restore_refused(talk: Talk, before: Mapping[str, Any]) -> frozenset[str]:
        """Return the slots whose new value cannot be, each given back what it held; the one told of is asked again."""
        refused = talk.slots["refused"]
        if not refused:
            return frozenset()
        lost = frozenset(slot for slot in before if talk.slots[slot] is None)
        again = [SlotSet("requested_slot", refused["slot"]), SlotSet("failures", talk.slots["failures"] + 1)]
        talk.apply([*(SlotSet(slot, before[slot]) for slot in lost), *again])
        return lost

    @staticmethod
    def _close_questions(talk: Talk, sure: Sequence[Claim], waiting: Sequence[Claim]) -> None:
        slots = talk.slots
        answered = {claim.slot for claim in (*sure, *waiting)}
        owner = slots["owner"] or SELF
        pending = [
            claim
            for claim in slots["pending"]
            if claim["slot"] not in answered and claim.get("times", 0) < READ_BACK_TIMES
        ]
        pending += [{**claim.to_json(), "owner": claim.owner or owner} for claim in waiting]
        if pending != slots["pending"]:
            talk.apply([SlotSet("pending", pending)])
        if slots["asked_back"] and slots["asked_back"]["slot"] in {claim.slot for claim in sure}:
            talk.apply([SlotSet("asked_back", None)])


def _counted(talk: Talk, said: Sequence[Claim]) -> list[Claim]:
    """Return what may be kept: fewer than one racquet may not, and is asked about until the count is said."""
    for claim in said:
        if claim.slot == COUNT and claim.value < 1:
            talk.apply([SlotSet("asked_back", {"slot": COUNT, "key": f"utter_ask_{COUNT}"})])
        elif claim.slot == COUNT and (talk.slots["asked_back"] or {}).get("slot") == COUNT:
            talk.apply([SlotSet("asked_back", None)])
    return [claim for claim in said if claim.slot != COUNT or claim.value >= 1]
