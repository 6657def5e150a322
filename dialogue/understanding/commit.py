"""Decides which candidates count, what must be asked back and what is read back; finds no candidate itself."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from dialogue.messages import Evidence
from dialogue.understanding.cues import Scan, combine_plays
from dialogue.understanding.found import Found
from dialogue.understanding.repair import Repaired

COUNTED = ("plays_per_week", "hours_per_play")
RANKED_LEVELS = ("competitive", "recreational")


@dataclass(frozen=True)
class Committed:
    """The values of a line, their evidence and the questions they raise."""

    slots: Mapping[str, Any]
    evidence: tuple[Evidence, ...]
    questions: tuple[str, ...]


def commit(scan: Scan, found: Sequence[Found], repaired: Repaired, *, correcting: bool) -> Committed:
    """Return one value a slot: of the owner first spoken of, the last where the speaker corrects himself."""
    slots: dict[str, Any] = {}
    questions: list[str] = []
    kept: list[Found] = []
    for slot in dict.fromkeys(one.slot for one in found):
        mine = [one for one in found if one.slot == slot]
        if slot == "symptoms":
            slots[slot] = list(dict.fromkeys(one.value for one in mine if one.value != []))
            kept += mine
            continue
        kept += [one for one in mine if one.owner != mine[0].owner]
        active = [one for one in mine if one.owner == mine[0].owner]
        chosen, contradicted = _choose(scan, slot, active, correcting=correcting)
        if contradicted:
            questions.append(f"contradiction:{slot}")
            kept = [one for one in kept if one.slot != slot]
        elif chosen is not None:
            slots[slot] = chosen.value
            kept.append(chosen)
            if chosen.readback == "day_order":
                questions.append(f"day_order:{slot}")
    kept.sort(key=lambda one: one.span)
    return Committed(slots, tuple(_evidence(scan, one, repaired) for one in kept), tuple(questions))


def _choose(scan: Scan, slot: str, active: Sequence[Found], *, correcting: bool) -> tuple[Found | None, bool]:
    if correcting:
        return active[-1], False
    restated = [
        one
        for one in active[1:]
        if any(hit.span[1] == one.span[0] or (hit.span[0] == one.span[0]) for hit in scan.role("negation", "restate"))
    ]
    if restated:
        return restated[-1], False
    if slot in COUNTED:
        return combine_plays(active)
    if slot == "level":
        return min(active, key=lambda one: RANKED_LEVELS.index(one.value)), False
    return max(active, key=lambda one: one.confidence), False


def _evidence(scan: Scan, one: Found, repaired: Repaired) -> Evidence:
    place = scan.line.place(one.span)
    repair = repaired.note_of(place)
    return Evidence(
        slot=one.slot,
        value=one.value,
        span=place,
        words=scan.line.source[place[0] : place[1]],
        rule=one.rule,
        confidence=one.confidence,
        owner=one.owner,
        repair=repair,
        readback=one.readback,
    )
