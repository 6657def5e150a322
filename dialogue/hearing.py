"""Reading the words of a turn in the light of what is open: asked, read back, offered; knows no rule and no wording."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any, Protocol

from dialogue.advice_words import only_compared, printed_in_pounds
from dialogue.answers import NO_ANSWER, Read, read_answer, with_pieces, without_slots
from dialogue.counter_words import (
    asks_who_is_next,
    group_said,
    is_done,
    no_group,
    to_forget,
)
from dialogue.drop_off_words import DROP_OFF, FOR_SOMEBODY, READINGS, left_again, with_day, with_racquet, with_wanted
from dialogue.errands import with_errand
from dialogue.feel_words import with_feel
from dialogue.messages import Message, Understanding
from dialogue.options import NAMES_FOLLOW, answer_to
from dialogue.policy import CONSULT, UNREAD, open_question
from dialogue.products import MATERIALS, Product, find_mentions, in_materials, with_products

STRUNG = "strung_on"
ONLY_TOPIC = "act.on_topic"
"""The rule of words that are of the trade, with nothing in them to keep."""
DROPPING = "drop_off_form"
GROUP = "group"
FORGET = "forget_contact"
PRACTICE_READS: Mapping[str, str] = {"date": "label_due", "reason": "customer_choice"}
"""As answers to what the parts of an exercise are read."""
ANSWERING = frozenset({"inform", "affirm", "correct", "log_reading"})


class Understand(Protocol):
    """What reads the words of a turn."""

    def __call__(
        self, text: str, *, asked: str | None, channel: str, today: dt.date, names: Sequence[str] = ()
    ) -> Understanding:
        """Return what a text means to somebody who was asked something."""


class Hearing:
    """Gives each turn the context in which its words mean something."""

    def __init__(
        self,
        understand: Understand,
        groups: Callable[[], Sequence[str]] = tuple,
        products: Callable[[], Sequence[Product]] = tuple,
    ) -> None:
        """Keep what reads words, and where groups and products come from: the shop's own words."""
        self._understand = understand
        self._groups = groups
        self._products = products

    def hear(
        self, slots: Mapping[str, Any], message: Message, today: dt.date, loop: str | None = None
    ) -> Understanding:
        """Return the meaning in the light of the open question; what was offered is tried as a question last.

        Args:
            slots: the state.
            message: the turn.
            today: the day of the turn.
            loop: the form that is being filled.
        """
        lesson = slots["practice"] or slots["riding"]
        if lesson and lesson["stage"]:
            day = dt.date.fromisoformat(lesson["exercise"]["today"]) if slots["practice"] else today
            stage = PRACTICE_READS.get(lesson["stage"])
            return self._understand(message.text, asked=stage, channel=message.channel, today=day)
        heard = self._with_products(self._hear(slots, message, today, loop), slots, message, today, loop)
        if begun := _lesson_begun(heard.text, slots):
            return replace(heard, intent=begun, slots={}, evidence=(), questions=(), suggestions=())
        groups = self._groups()
        if not groups or heard.intent in NO_ANSWER:
            return heard
        asked = open_question(slots) == GROUP
        if asked and no_group(heard.text):
            return replace(heard, intent="deny", questions=(), suggestions=())
        piece = group_said(heard.text, groups, asked=asked)
        owners = {said.owner for said in heard.evidence}
        return with_pieces(heard, [replace(piece, owner=owners.pop() if len(owners) == 1 else None)] if piece else [])

    def _with_products(
        self, heard: Understanding, slots: Mapping[str, Any], message: Message, today: dt.date, loop: str | None
    ) -> Understanding:
        """Return the meaning with the shop's products in it, where strings are spoken of that are to go in."""
        dropping = loop == DROPPING or heard.intent == DROP_OFF
        if slots["options"] or not (dropping or open_question(slots) in MATERIALS):
            return heard
        mentions = find_mentions(message.text, self._products(), heard.unmatched)
        if not mentions:
            return heard
        text, placed = in_materials(message.text, mentions)
        return with_products(self._hear(slots, replace(message, text=text), today, loop), message.text, placed)

    def _hear(self, slots: Mapping[str, Any], message: Message, today: dt.date, loop: str | None) -> Understanding:
        if not message.text.strip():
            return Understanding(text="", intent="repeat" if slots["told"] else "greet", confidence=1.0)

        def read(asked: str | None, part: str | None = None) -> Understanding:
            text = message.text if part is None else part
            return self._understand(text, asked=asked, channel=message.channel, today=today)

        if open_question(slots):
            heard = read_answer(slots, read)
            if loop == CONSULT and not (slots["pending"] or slots["options"] or slots["asked_back"]):
                heard = with_errand(heard, read)
        else:
            heard = with_errand(_corrected(read(None), slots, read), read)
            if not heard.slots and not heard.questions and heard.rule in UNREAD:
                return _taking_up(slots, read) or heard
            if not heard.slots and heard.rule == ONLY_TOPIC:
                return _taking_up(slots, read) or _late(heard, slots, read, today)
            heard = _with_name(_at_the_bench(heard, slots), read)
        if loop is None and left_again(heard, read):
            heard = replace(heard, intent=DROP_OFF)
        if loop == DROPPING or heard.intent == DROP_OFF:
            heard = with_wanted(with_day(heard, read), read, slots)
        else:
            heard = with_racquet(heard)
        if heard.intent == FORGET and (piece := to_forget(heard.text)):
            # Who wants a number off a card says no other one.
            heard = with_pieces(without_slots(heard, frozenset(heard.slots) - {"customer_name"}), [piece])
        return with_feel(only_compared(printed_in_pounds(heard, slots), slots), read)


def lesson_begun(text: str) -> str | None:
    """Return what a trainee asks for: to answer first, or to practise."""
    if answer_to("ride_along", text):
        return "ride_along"
    return "practise" if answer_to("practice_start", text) else None


def _lesson_begun(text: str, slots: Mapping[str, Any]) -> str | None:
    """Return what a trainee asks for; nobody practises who has to settle something first."""
    begun = lesson_begun(text)
    unsettled = slots["pending"] or slots["asked_back"] or slots["options"]
    return None if begun == "practise" and unsettled else begun


def _taking_up(slots: Mapping[str, Any], read: Read) -> Understanding | None:
    """Return words that mean something only as an answer to what was offered."""
    for offered in slots["offer"]:
        answer = read(offered)
        if offered in answer.slots and answer.intent in ANSWERING:
            return answer
    return None


def _at_the_bench(heard: Understanding, slots: Mapping[str, Any]) -> Understanding:
    """Return "done", said of the racquet on the bench, as that it is strung, and "who's next" as which one follows."""
    if slots["at_bench"] and asks_who_is_next(heard.text):
        return replace(heard, intent="ask_next")
    waits = slots["at_bench"] and (slots["record"] or {}).get("status") == "received"
    return replace(heard, intent="mark_strung") if waits and is_done(heard.text) else heard


def _late(heard: Understanding, slots: Mapping[str, Any], read: Read, today: dt.date) -> Understanding:
    """Return a day gone by that nobody asked for as the one of the stringing, to be read back before it is kept."""
    answer = read(STRUNG)
    day = answer.slots.get(STRUNG)
    if slots["at_bench"] or day is None or not _gone_by(day, today):
        return heard
    return replace(answer, evidence=tuple(replace(piece, readback="unsure") for piece in answer.evidence))


def _gone_by(day: Any, today: dt.date) -> bool:
    """Tell whether a day, or a month or year that was named, is past."""
    said = str(day["value"] if isinstance(day, Mapping) else day)
    return said.startswith("-P") or said <= today.isoformat()


def _corrected(heard: Understanding, slots: Mapping[str, Any], read: Read) -> Understanding:
    """Return a correction of a value nobody named as one of what was asked last: "no, it was the fifth"."""
    if heard.intent != "correct" or heard.slots or heard.operations or not slots["asked_last"]:
        return heard
    again = read(slots["asked_last"])
    return again if slots["asked_last"] in again.slots else heard


def _with_name(heard: Understanding, read: Read) -> Understanding:
    """Return the meaning with the name in it, where a task was asked for somebody: "log 38 for Maya"."""
    about = heard.intent in FOR_SOMEBODY or READINGS & set(heard.slots)
    if not about or "customer_name" in heard.slots:
        return heard
    for piece in read("customer_name").evidence:
        before = heard.text[: piece.span[0]].casefold().split()
        if piece.slot == "customer_name" and before and before[-1] in NAMES_FOLLOW:
            slots = {**heard.slots, piece.slot: piece.value}
            return replace(heard, slots=slots, evidence=(*heard.evidence, piece))
    return heard
