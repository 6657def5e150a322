"""Reading the words of a turn in the light of what is open: asked, read back, offered; knows no rule and no wording."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import replace
from typing import Any, Protocol

from dialogue.advice_words import only_compared, printed_in_pounds
from dialogue.advising import ADVISABLE, open_advice
from dialogue.counter_words import (
    address_said,
    asks_who_is_next,
    days_promised,
    declines_said,
    frame_seen,
    group_said,
    is_done,
    looked_at_by,
    no_group,
    racquet_named,
    tension_said,
    wants_strings,
)
from dialogue.feel_words import QUESTIONS, bed_said, with_feel
from dialogue.forms import CRACK
from dialogue.intake import DATES
from dialogue.messages import Evidence, Message, Understanding
from dialogue.options import ANSWERS, NAMES_FOLLOW, WORDS, answer_to
from dialogue.policy import FRAME_DAMAGE, UNREAD, open_question
from dialogue.products import MATERIALS, Product, find_mentions, in_materials, with_products

READ_AS: Mapping[str, str] = {"promised_on": "league_start"}
"""A slot whose answers are read like those to another: both are days to come."""
PHONE = "customer_phone"
STRUNG = "strung_on"
ONLY_TOPIC = "act.on_topic"
"""The rule of words that are of the trade, with nothing in them to keep."""
WHOLE_NUMBER = 9
"""So many digits in a row are a phone number without being asked for."""
SHORTEST_TAIL = 3
"""Of fewer digits nobody is found again."""
YES_OR_NO = frozenset({"affirm", "deny"})
SETTLING = frozenset({"affirm", "deny", "dont_know"})
DROP_OFF = "drop_off"
DROPPING = "drop_off_form"
WISH, TENSION, CROSSES = "wish", "mains_tension", "crosses_tension"
ADDRESS = "customer_email"
GROUP = "group"
ADVISED = "advised"
PRACTICE_READS: Mapping[str, str] = {"date": "label_due", "reason": "customer_choice"}
"""As answers to what the parts of an exercise are read."""
STEP = "tension_step"
TENSIONS = frozenset({TENSION, CROSSES})
WANTED = frozenset({"printed_range", "same_as", "advise", STEP})
"""What is listened for only where a racquet is left."""
FOR_SOMEBODY = frozenset({"pickup", "drop_off", "log_reading", "mark_strung", "ask_label"})
READINGS = frozenset({"reading", "baseline"})
BESIDE = frozenset({"mains_material", "crosses_material", "mains_tension", "crosses_tension", "racquet_count", "level"})
"""What may be said in one breath with an answer that only this counter asks for."""
OF_THE_FRAME = frozenset({None, "customer_name", "frame_check", "printed_range"})
"""While one of these is asked, a racquet that is named is the one that is left."""
BARE = frozenset(WORDS["bare"])
"""Answers that go with whatever was said before, too."""
ANSWERING = frozenset({"inform", "affirm", "correct", "log_reading"})
NO_ANSWER = frozenset({"restart", "stop", "back", "repeat", "human", "ask_why_question", "dont_know"})


class Read(Protocol):
    """Reads the words of the turn, or a part of them, as an answer to something asked."""

    def __call__(self, asked: str | None, part: str | None = None) -> Understanding:
        """Return what they mean."""


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
        return _with(heard, [replace(piece, owner=owners.pop() if len(owners) == 1 else None)] if piece else [])

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
            heard = _answering(slots, read)
        else:
            heard = _corrected(read(None), slots, read)
            if not heard.slots and not heard.questions and heard.rule in UNREAD:
                return _taking_up(slots, read) or heard
            if not heard.slots and heard.rule == ONLY_TOPIC:
                return _taking_up(slots, read) or _late(heard, slots, read, today)
            heard = _with_name(_at_the_bench(heard, slots), read)
        if loop is None and _left_again(heard, read):
            heard = replace(heard, intent=DROP_OFF)
        if loop == DROPPING or heard.intent == DROP_OFF:
            heard = _with_wanted(_with_day(heard, read), read, slots)
        else:
            heard = _with_racquet(heard)
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


def _left_again(heard: Understanding, read: Read) -> bool:
    """Tell whether somebody's racquet gets strings by a day, or those of last time again, and so was left."""
    if heard.intent != "inform" or "customer_name" not in heard.slots:
        return False
    strings = {"mains_material", "crosses_material", TENSION, CROSSES} & set(heard.slots)
    wanted = strings and wants_strings(heard.text) and next(days_promised(heard.text), None)
    return bool(wanted) or read(DROP_OFF).slots.get("same_as") == "last"


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


def _answering(slots: Mapping[str, Any], read: Read) -> Understanding:
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


def _with_day(heard: Understanding, read: Read) -> Understanding:
    """Return the meaning with the promised day in it, where a racquet is left until one: "ready by Friday"."""
    if "promised_on" in heard.slots:
        return heard
    for name, alias in READ_AS.items():
        for part in days_promised(heard.text):
            piece = next((piece for piece in read(alias, part).evidence if piece.slot == alias), None)
            if piece:
                # One day is not said of two things: the day something is to be ready is no other day too.
                same = {said.slot for said in heard.evidence if said.slot in DATES and said.value == piece.value}
                slots = {slot: value for slot, value in heard.slots.items() if slot not in same}
                evidence = tuple(said for said in heard.evidence if said.slot not in same)
                heard = replace(heard, slots=slots, evidence=evidence)
                return _with(heard, [replace(piece, slot=name, span=(0, 0))])
    return heard


def _with_wanted(heard: Understanding, read: Read, slots: Mapping[str, Any]) -> Understanding:
    """Return the meaning with what is said of a racquet that is left: same strings, printed range, frame, address."""
    # Where strings were advised, "other strings" means others than those.
    listened = WANTED - {"same_as"} if open_advice(slots) else WANTED
    pieces = [piece for piece in read(DROP_OFF).evidence if piece.slot in listened]
    if any(piece.slot == STEP for piece in pieces):
        # "Two pounds up from last time" is a step, no tension of two pounds.
        heard = _without(heard, TENSIONS)
    pieces += [piece for piece in read(PHONE).evidence if piece.slot == PHONE and len(str(piece.value)) >= WHOLE_NUMBER]
    of_the_frame = (frame_seen(heard.text), address_said(heard.text), declines_said(heard.text))
    pieces += [piece for piece in of_the_frame if piece]
    figure = tension_said(heard.text)
    if figure and not TENSIONS & set(heard.slots) and slots["frame_check"] is None:
        said = [piece for piece in read(TENSION, figure).evidence if piece.slot == TENSION]
        pieces += [replace(piece, slot=slot, span=(0, 0)) for piece in said for slot in (TENSION, CROSSES)]
    if slots["frame_check"]:
        pieces = [piece for piece in pieces if piece.slot != "frame_check"]
    elif any(piece.value == CRACK for piece in pieces) and (seen := looked_at_by(heard.text)):
        pieces.append(seen)
    return _with_racquet(_with(heard, pieces), left=open_question(slots) in OF_THE_FRAME)


def _with_racquet(heard: Understanding, *, left: bool = False) -> Understanding:
    """Return the meaning with the racquet that was named, where one is left or it is somebody's on record."""
    about = left or heard.intent in FOR_SOMEBODY or ({"customer_name", "same_as"} | READINGS) & set(heard.slots)
    piece = racquet_named(heard.text) if about else None
    return _with(heard, [piece] if piece else [])


def _without(heard: Understanding, names: AbstractSet[str]) -> Understanding:
    slots = {slot: value for slot, value in heard.slots.items() if slot not in names}
    return replace(heard, slots=slots, evidence=tuple(piece for piece in heard.evidence if piece.slot not in names))


def _with(heard: Understanding, pieces: Sequence[Evidence]) -> Understanding:
    fresh = [piece for piece in pieces if piece.slot not in heard.slots]
    if not fresh:
        return heard
    slots = {**heard.slots, **{piece.slot: piece.value for piece in fresh}}
    strange = heard.intent == "out_of_scope" and heard.rule != FRAME_DAMAGE
    said = replace(heard, intent="inform") if strange else heard
    return replace(said, slots=slots, evidence=(*heard.evidence, *fresh))


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
        return replace(_with(heard, pieces), intent="correct")
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
    return _with(replace(heard, intent="inform"), [piece]) if piece else heard


def _with_stringer(heard: Understanding) -> Understanding:
    """Return the meaning with who looked at a cracked frame."""
    piece = looked_at_by(heard.text)
    return _with(heard, [piece]) if piece and heard.slots.get("frame_check") == "crack" else heard


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


OwnWay = Callable[[Mapping[str, Any], Read], Understanding]
OWN_WAYS: Mapping[str, OwnWay] = {WISH: _wish, PHONE: _tail, ADDRESS: _address, **dict.fromkeys(ADVISABLE, _advised)}
"""Questions whose answers are read in a way of their own."""
