"""What is said in one breath of a racquet that is left: day, strings of last time, printed range, frame, address."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from dialogue.advising import open_advice
from dialogue.answers import CROSSES, PHONE, READ_AS, TENSION, Read, with_pieces, without_slots
from dialogue.counter_words import (
    address_said,
    days_promised,
    declines_said,
    frame_seen,
    looked_at_by,
    racquet_named,
    tension_said,
    wants_strings,
)
from dialogue.forms import CRACK
from dialogue.intake import DATES
from dialogue.messages import Understanding
from dialogue.policy import open_question

WHOLE_NUMBER = 9
"""So many digits in a row are a phone number without being asked for."""
DROP_OFF = "drop_off"
STEP = "tension_step"
TENSIONS = frozenset({TENSION, CROSSES})
WANTED = frozenset({"printed_range", "same_as", "advise", STEP, "head_size", "pattern", "gauge"})
"""What is listened for only where a racquet is left."""
FOR_SOMEBODY = frozenset({"pickup", "drop_off", "log_reading", "mark_strung", "ask_label", "forget_contact"})
READINGS = frozenset({"reading", "baseline"})
OF_THE_FRAME = frozenset({None, "customer_name", "frame_check", "printed_range"})
"""While one of these is asked, a racquet that is named is the one that is left."""


def left_again(heard: Understanding, read: Read) -> bool:
    """Tell whether somebody's racquet gets strings by a day, or those of last time again, and so was left."""
    if heard.intent != "inform" or "customer_name" not in heard.slots:
        return False
    strings = {"mains_material", "crosses_material", TENSION, CROSSES} & set(heard.slots)
    wanted = strings and wants_strings(heard.text) and next(days_promised(heard.text), None)
    return bool(wanted) or read(DROP_OFF).slots.get("same_as") == "last"


def with_day(heard: Understanding, read: Read) -> Understanding:
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
                return with_pieces(heard, [replace(piece, slot=name, span=(0, 0))])
    return heard


def with_wanted(heard: Understanding, read: Read, slots: Mapping[str, Any]) -> Understanding:
    """Return the meaning with what is said of a racquet that is left: same strings, printed range, frame, address."""
    # Where strings were advised, "other strings" means others than those.
    listened = WANTED - {"same_as"} if open_advice(slots) else WANTED
    pieces = [piece for piece in read(DROP_OFF).evidence if piece.slot in listened]
    if any(piece.slot == STEP for piece in pieces):
        # "Two pounds up from last time" is a step, no tension of two pounds.
        heard = without_slots(heard, TENSIONS)
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
    return with_racquet(with_pieces(heard, pieces), left=open_question(slots) in OF_THE_FRAME)


def with_racquet(heard: Understanding, *, left: bool = False) -> Understanding:
    """Return the meaning with the racquet that was named, where one is left or it is somebody's on record."""
    about = left or heard.intent in FOR_SOMEBODY or ({"customer_name", "same_as"} | READINGS) & set(heard.slots)
    piece = racquet_named(heard.text) if about else None
    return with_pieces(heard, [piece] if piece else [])
