"""Reading the words of a turn in the light of what is open: asked, read back, offered; knows no rule and no wording."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Any, Protocol

from dialogue.intake import DATES
from dialogue.messages import Evidence, Message, Understanding
from dialogue.options import ANSWERS, NAMES_FOLLOW, answer_to
from dialogue.policy import UNREAD, open_question

READ_AS: Mapping[str, str] = {"promised_on": "league_start"}
"""A slot whose answers are read like those to another: both are days to come."""
PHONE = "customer_phone"
SHORTEST_TAIL = 3
"""Of fewer digits nobody is found again."""
SETTLING = frozenset({"affirm", "deny", "dont_know"})
FOR_SOMEBODY = frozenset({"pickup", "drop_off", "log_reading"})
ANSWERING = frozenset({"inform", "affirm", "correct", "log_reading"})
NO_ANSWER = frozenset({"restart", "stop", "back", "repeat", "human", "ask_why_question", "dont_know"})
Read = Callable[[str | None], Understanding]
"""Reads the words of the turn as an answer to something asked."""


class Understand(Protocol):
    """What reads the words of a turn."""

    def __call__(
        self, text: str, *, asked: str | None, channel: str, today: dt.date, names: Sequence[str] = ()
    ) -> Understanding:
        """Return what a text means to somebody who was asked something."""


class Hearing:
    """Gives each turn the context in which its words mean something."""

    def __init__(self, understand: Understand) -> None:
        self._understand = understand

    def hear(self, slots: Mapping[str, Any], message: Message, today: dt.date) -> Understanding:
        """Return the meaning in the light of the open question; what was offered is tried as a question last."""
        if not message.text.strip():
            return Understanding(text="", intent="repeat" if slots["told"] else "greet", confidence=1.0)

        def read(asked: str | None) -> Understanding:
            return self._understand(message.text, asked=asked, channel=message.channel, today=today)

        if open_question(slots):
            return _answering(slots, read)
        heard = _corrected(read(None), slots, read)
        if heard.slots or heard.questions or heard.rule not in UNREAD:
            return _with_day(_with_name(heard, read), read)
        for offered in slots["offer"]:
            answer = read(offered)
            if offered in answer.slots and answer.intent in ANSWERING:
                return answer
        return heard


def _answering(slots: Mapping[str, Any], read: Read) -> Understanding:
    """Return the meaning of words said while a question is open."""
    question = str(open_question(slots))
    if question in READ_AS:
        return _renamed(read(READ_AS[question]), READ_AS[question], question)
    if question in ANSWERS:
        return _chosen(read(None), question)
    if slots["options"]:
        return read("customer_choice")
    if question == PHONE:
        return _tail(read(question))
    return _confirming(slots, read) if slots["pending"] else read(question)


def _confirming(slots: Mapping[str, Any], read: Read) -> Understanding:
    """Return the answer to a read-back: yes or no, or else the value once more, read as when it was asked for."""
    heard = read("confirm")
    waiting = slots["pending"][0]["slot"]
    if heard.intent in SETTLING or waiting in heard.slots:
        return heard
    again = read(waiting)
    return again if waiting in again.slots else heard


def _corrected(heard: Understanding, slots: Mapping[str, Any], read: Read) -> Understanding:
    """Return a correction of a value nobody named as one of what was asked last: "no, it was the fifth"."""
    if heard.intent != "correct" or heard.slots or heard.operations or not slots["asked_last"]:
        return heard
    again = read(slots["asked_last"])
    return again if slots["asked_last"] in again.slots else heard


def _with_name(heard: Understanding, read: Read) -> Understanding:
    """Return the meaning with the name in it, where a task was asked for somebody: "log 38 for Maya"."""
    if heard.intent not in FOR_SOMEBODY or "customer_name" in heard.slots:
        return heard
    for piece in read("customer_name").evidence:
        before = heard.text[: piece.span[0]].casefold().split()
        if piece.slot == "customer_name" and before and before[-1] in NAMES_FOLLOW:
            slots = {**heard.slots, piece.slot: piece.value}
            return replace(heard, slots=slots, evidence=(*heard.evidence, piece))
    return heard


def _with_day(heard: Understanding, read: Read) -> Understanding:
    """Return the meaning with the promised day in it, where a racquet is left until one: "ready by Friday"."""
    if heard.intent != "drop_off" or DATES & set(heard.slots):
        return heard
    for name, alias in READ_AS.items():
        for piece in read(alias).evidence:
            if piece.slot == alias:
                slots = {**heard.slots, name: piece.value}
                return replace(heard, slots=slots, evidence=(*heard.evidence, replace(piece, slot=name)))
    return heard


def _chosen(heard: Understanding, slot: str) -> Understanding:
    """Return the meaning as an answer to a question that only this counter asks, where it is one."""
    answer = answer_to(slot, heard.text)
    if answer is None or heard.intent in NO_ANSWER:
        return heard
    value, words = answer
    piece = Evidence(slot, value, (0, len(heard.text)), words, f"answers.{slot}", 1.0)
    return replace(heard, intent="inform", slots={slot: value}, evidence=(piece,), questions=())


def _tail(heard: Understanding) -> Understanding:
    """Return the meaning with the end of a phone number in it, where hardly anything but its digits was said."""
    digits = re.sub(r"\D", "", heard.text)
    letters = re.sub(r"[\W\d_]", "", heard.text)
    if PHONE in heard.slots or not len(digits) >= SHORTEST_TAIL or len(letters) > len(digits):
        return heard
    piece = Evidence(PHONE, digits, (0, len(heard.text)), heard.text, "hearing.tail", 1.0)
    return replace(heard, intent="inform", slots={PHONE: digits}, evidence=(piece,))


def _renamed(heard: Understanding, slot: str, name: str) -> Understanding:
    return replace(
        heard,
        slots={name if key == slot else key: value for key, value in heard.slots.items()},
        evidence=tuple(replace(piece, slot=name) if piece.slot == slot else piece for piece in heard.evidence),
    )
