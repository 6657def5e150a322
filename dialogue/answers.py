"""What words mean as the answer to the open question, some of them read in a way of their own; knows no rule."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import replace
from typing import Any, Protocol

from dialogue.advising import ADVISABLE, open_advice
from dialogue.counter_words import address_said, looked_at_by
from dialogue.feel_words import QUESTIONS, bed_said
from dialogue.messages import Evidence, Understanding
from dialogue.options import ANSWERS, WORDS, answer_to
from dialogue.policy import FRAME_DAMAGE, open_question

READ_AS: Mapping[str, str] = {"promised_on": "league_start"}
"""A slot whose answers are read like those to another: both are days to come."""
PHONE = "customer_phone"
SHORTEST_TAIL = 3
"""Of fewer digits nobody is found again."""
YES_OR_NO = frozenset({"affirm", "deny"})
SETTLING = frozenset({"affirm", "deny", "dont_know"})
WISH, TENSION, CROSSES = "wish", "mains_tension", "crosses_tension"
ADDRESS = "customer_email"
ADVISED = "advised"
BESIDE = frozenset({"mains_material", "crosses_material", "mains_tension", "crosses_tension", "racquet_count", "level"})
"""What may be said in one breath with an answer that only this counter asks for."""
BARE = frozenset(WORDS["bare"])
"""Answers that go with whatever was said before, too."""
NO_ANSWER = frozenset({"restart", "stop", "back", "repeat", "human", "ask_why_question", "dont_know"})


class Read(Protocol):
    """Reads the words of the turn, or a part of them, as an answer to something asked."""

    def __call__(self, asked: str | None, part: str | None = None) -> Understanding:
        """Return what they mean."""


def read_answer(slots: Mapping[str, Any], read: Read) -> Understanding:
    """Return the meaning of words said while a question is open."""
    question = str(open_question(slots))
    if question in READ_AS:
        return _renamed(read(READ_AS[question]), READ_AS[question], question)
    if question in QUESTIONS:
        return bed_said(question, read)
    if question in OWN_WAYS:
        return OWN_WAYS[question](slots, read)
    if question in ANSWERS:
        return _with_stringer(_chosen(read(None), question))
    if slots["options"]:
        return read("customer_choice")
    return _confirming(slots, read) if slots["pending"] else read(question)


def _confirming(slots: Mapping[str, Any], read: Read) -> Understanding:
    """Return the answer to a read-back: yes or no, or else the value once more, read as when it was asked for."""
    heard = read("confirm")
    waiting = slots["pending"][0]["slot"]
    if heard.intent in SETTLING or waiting in heard.slots:
        return heard
    again = read(waiting)
    # "no, 38" is a no at the least, where the figure by itself is not read
    settles = again.intent in SETTLING and heard.intent == "correct" and not heard.slots
    return again if waiting in again.slots or settles else heard


def _wish(slots: Mapping[str, Any], read: Read) -> Understanding:
    """Return the answer to a tension outside the printed range: another one, or the customer's wish in words."""
    heard = read(TENSION)
    answer = answer_to(WISH, heard.text)
    if answer and answer[0] == "informed":
        piece = Evidence(WISH, heard.text, (0, len(heard.text)), heard.text, "answers.wish", 1.0)
        return replace(heard, intent="inform", slots={WISH: heard.text}, evidence=(piece,), questions=())
    if TENSION in heard.slots:
        both = slots["crosses_tension"] in (slots[TENSION], None)
        pieces = [replace(piece, slot=CROSSES) for piece in heard.evidence if piece.slot == TENSION and both]
        return replace(with_pieces(heard, pieces), intent="correct")
    return _chosen(heard, WISH)


def _advised(slots: Mapping[str, Any], read: Read) -> Understanding:
    """Return the answer to strings that were advised: yes, no, or others; else what was said of strings as ever."""
    question = str(open_question(slots))
    heard = read(question)
    if not open_advice(slots):
        return heard
    if answer_to(ADVISED, heard.text) and set(heard.slots) <= {"same_as"}:
        return replace(heard, intent="deny", slots={}, evidence=(), questions=())
    plain = read(None)
    return plain if plain.intent in YES_OR_NO and not plain.slots else heard


def _address(_: Mapping[str, Any], read: Read) -> Understanding:
    heard = read(None)
    piece = address_said(heard.text)
    return with_pieces(replace(heard, intent="inform"), [piece]) if piece else heard


def _with_stringer(heard: Understanding) -> Understanding:
    """Return the meaning with who looked at a cracked frame."""
    piece = looked_at_by(heard.text)
    return with_pieces(heard, [piece]) if piece and heard.slots.get("frame_check") == "crack" else heard


def _chosen(heard: Understanding, slot: str) -> Understanding:
    """Return the meaning as an answer to a question that only this counter asks, where it is one."""
    answer = answer_to(slot, heard.text)
    if answer is None or heard.intent in NO_ANSWER:
        return heard
    value, words = answer
    others = [each for each in heard.evidence if each.slot in BESIDE]
    if others and words in BARE:
        # "No, hollow spin" takes back the strings said before, and tells nothing of the frame.
        return heard
    piece = Evidence(slot, value, (0, len(heard.text)), words, f"answers.{slot}", 1.0)
    said = {each.slot: heard.slots[each.slot] for each in others if each.slot in heard.slots}
    return replace(heard, intent="inform", slots={**said, slot: value}, evidence=(*others, piece), questions=())


def _tail(_: Mapping[str, Any], read: Read) -> Understanding:
    """Return the meaning with the end of a phone number in it, where hardly anything but its digits was said."""
    heard = read(PHONE)
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


def without_slots(heard: Understanding, names: AbstractSet[str]) -> Understanding:
    """Return the meaning without some slots."""
    slots = {slot: value for slot, value in heard.slots.items() if slot not in names}
    return replace(heard, slots=slots, evidence=tuple(piece for piece in heard.evidence if piece.slot not in names))


def with_pieces(heard: Understanding, pieces: Sequence[Evidence]) -> Understanding:
    """Return the meaning with what more was read in it, where its slots are still free."""
    fresh = [piece for piece in pieces if piece.slot not in heard.slots]
    if not fresh:
        return heard
    slots = {**heard.slots, **{piece.slot: piece.value for piece in fresh}}
    strange = heard.intent == "out_of_scope" and heard.rule != FRAME_DAMAGE
    said = replace(heard, intent="inform") if strange else heard
    return replace(said, slots=slots, evidence=(*heard.evidence, *fresh))


OwnWay = Callable[[Mapping[str, Any], Read], Understanding]
OWN_WAYS: Mapping[str, OwnWay] = {WISH: _wish, PHONE: _tail, ADDRESS: _address, **dict.fromkeys(ADVISABLE, _advised)}
"""Questions whose answers are read in a way of their own."""
