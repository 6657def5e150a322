"""Two beds in the words of one breath: which was the one that felt right, which is to be; values are read elsewhere."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from typing import Any

from dialogue.messages import Evidence, Understanding
from dialogue.options import WORDS, plain
from dialogue.racquets import STRING_FACTS

SAME_FEEL, ASK = "same_feel", "ask_same_feel"
OLD, NEW = "old", "new"
QUESTIONS: Mapping[str, tuple[str, str]] = {
    "old_strings": (OLD, "mains_material"),
    "old_tension": (OLD, "mains_tension"),
    "new_strings": (NEW, "mains_material"),
    "old_frame": (OLD, "old_frame"),
    "new_frame": (NEW, "new_frame"),
}
"""What may be asked of two beds: which one it is, and as the answer to what the words are read."""
FRAME = frozenset({"head_size", "pattern", "gauge"})
READ = FRAME | frozenset(STRING_FACTS)
"""What is kept of a bed."""
_FEEL = WORDS["feel"]
SIDES = [(words, side) for side in (OLD, NEW) for words in _FEEL[side]]
MARKS = re.compile(rf"\b({'|'.join(sorted((re.escape(words) for words, _ in SIDES), key=len, reverse=True))})\b")
ONWARD = re.compile(rf"\b(?:{'|'.join(_FEEL['onward'])})\b")
FRAMES = re.compile(rf"\b(?:{'|'.join(_FEEL['frames'])})\b")
FROM = "from"
Read = Callable[..., Understanding]


def with_feel(heard: Understanding, read: Read) -> Understanding:
    """Return the meaning with the two beds in it, where they are to feel the same; strings in it are theirs alone."""
    if ASK not in (heard.intent, heard.slots.get("advise")):
        return heard
    beds: dict[str, Any] = {OLD: {}, NEW: {}}
    for side, part in _parts(heard.text.casefold()):
        beds[side] |= _values(read, part)
    _give_the_pull(beds)
    if FRAMES.search(heard.text.casefold()):
        beds["frame"] = True
    left = frozenset({*STRING_FACTS, "same_as", "racquet_count"})
    evidence = tuple(piece for piece in heard.evidence if piece.slot not in left)
    slots = {slot: value for slot, value in heard.slots.items() if slot not in left}
    piece = _piece(heard.text, beds)
    return replace(heard, slots={**slots, SAME_FEEL: beds}, evidence=(*evidence, piece), questions=())


def bed_said(question: str, read: Read) -> Understanding:
    """Return the answer to a question about one of the two beds."""
    side, as_slot = QUESTIONS[question]
    heard = read(as_slot)
    values = {slot: value for slot, value in heard.slots.items() if slot in READ}
    if values:
        frame = {slot: value for slot, value in read(SAME_FEEL).slots.items() if slot in FRAME}
        values = _without_pull({**frame, **values})
    if not values and question == "new_strings" and plain(heard.text) in _FEEL["same"]:
        values = {"same": True}
    if not values or heard.intent in {"restart", "stop", "back"}:
        return heard
    piece = _piece(heard.text, {side: values})
    left = {slot: value for slot, value in heard.slots.items() if slot not in READ}
    evidence = tuple(each for each in heard.evidence if each.slot not in READ)
    said = {**left, SAME_FEEL: {side: values}}
    return replace(heard, intent="inform", slots=said, evidence=(*evidence, piece), questions=(), suggestions=())


def _parts(text: str) -> Iterator[tuple[str, str]]:
    """Yield the parts of a text, each with the bed it speaks of; what stands before the first mark is the other's."""
    marks = [(match.start(), match.end(), _side(match[0])) for match in MARKS.finditer(text)]
    for start, end, _ in list(marks):
        if text[start:end] == FROM and (onward := ONWARD.search(text, end)):
            marks.append((onward.start(), onward.end(), NEW))
    marks.sort()
    at, side = 0, (NEW if not marks or marks[0][2] == OLD else OLD)
    for start, end, next_side in marks:
        if start >= at:
            yield side, text[at:start]
            at, side = end, next_side
    yield side, text[at:]


def _side(words: str) -> str:
    return next(side for mark, side in SIDES if mark == words)


def _values(read: Read, part: str) -> dict[str, Any]:
    """Return what is said of one bed in a part of a text."""
    if not re.search(r"\w", part):
        return {}
    values = {slot: value for slot, value in read(SAME_FEEL, part).slots.items() if slot in READ}
    return _without_pull(values)


def _without_pull(values: dict[str, Any]) -> dict[str, Any]:
    """Return what is said of a bed without a head size that is its tension."""
    pull = values.get("mains_tension")
    if isinstance(pull, Mapping) and pull["value"] == values.get("head_size"):
        return {name: value for name, value in values.items() if name != "head_size"}
    return values


def _give_the_pull(beds: dict[str, Any]) -> None:
    """Give a tension that stands with the new bed to the old one: that of the new one is what is sought.

    Strings said with it, and with no other, are then in both: "from 16x19 to 18x20 with poly at 52".
    """
    old, new = beds[OLD], beds[NEW]
    if "mains_tension" in old or "mains_tension" not in new:
        return
    moved = {name: new.pop(name) for name in ("mains_tension", "crosses_tension") if name in new}
    strings = {name: new[name] for name in ("mains_material", "crosses_material") if name in new}
    beds[OLD] = {**strings, **old, **moved}


def _piece(text: str, value: Any) -> Evidence:
    return Evidence(SAME_FEEL, value, (0, len(text)), text, "hearing.same_feel", 1.0)
