"""Which racquet of several is being talked of, and the events that change it; knows no rule and no phrase."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping
from pathlib import Path
from typing import Any

from rasa_sdk.events import SlotSet

from dialogue.tracker import Event, Talk
from dialogue.yaml_files import read_yaml

PLAYER_FACTS = (
    "level",
    "plays_per_week",
    "hours_per_play",
    "hours_per_week",
    "season",
    "league_start",
    "breaks_strings",
    "sport",
    "group",
)
"""What belongs to the player and so to all of one player's racquets."""
STRING_FACTS = ("mains_material", "crosses_material", "hybrid", "mains_tension", "crosses_tension")
"""What two racquets strung alike have in common."""
DATED_FACTS = ("strung_on", "label_due", "baseline", "reading", "symptoms")
"""What is one racquet's alone."""
FACTS = (*PLAYER_FACTS, *STRING_FACTS, *DATED_FACTS)
KEPT = (
    "owner",
    "whose",
    "words",
    "unknown",
    "decision",
    "told",
    "headline",
    "offered",
    "record",
    "products",
    "consultation",
    "requested_slot",
)
"""What is kept for a racquet beside its facts."""
EMPTY: Mapping[str, Any] = {"whose": "self", "words": {}, "unknown": [], "told": False, "offered": [], "products": {}}
SELF = "self"
THIRD = "third"
"""Owners by pronoun: the speaker, and somebody spoken of before."""
_WORDS = read_yaml(Path(__file__).parent / "domain" / "choosing.yml")
LABELS: Mapping[str, frozenset[str]] = {name: frozenset(words) for name, words in _WORDS["racquets"].items()}
"""Words that tell one racquet from another."""
SINGULAR: Mapping[str, str] = _WORDS["singular"]
SPEAKER: Mapping[str, frozenset[str]] = {name: frozenset(words) for name, words in _WORDS["speaker"].items()}
"""Words by which speakers mean themselves, and by which they mean somebody else."""


def all_racquets(slots: Mapping[str, Any]) -> dict[str, dict[str, Any]]:
    """Return every racquet on the counter by key, the present one included, in the order they were named."""
    found = {**slots["racquets"], slots["racquet_key"]: present(slots)}
    return {key: found[key] for key in sorted(found)}


def present(slots: Mapping[str, Any]) -> dict[str, Any]:
    """Return what is known of the racquet being talked of."""
    return {name: slots[name] for name in (*FACTS, *KEPT) if slots[name] is not None}


def known_facts(slots: Mapping[str, Any]) -> dict[str, Any]:
    """Return the facts of the present racquet as JSON, with what nobody knows and the words they were said in."""
    facts = {name: slots[name] for name in FACTS if slots[name] is not None}
    words = {name: text for name, text in slots["words"].items() if name in facts}
    return {**facts, "unknown": slots["unknown"], "words": words}


def switch(slots: Mapping[str, Any], key: str, racquet: Mapping[str, Any] | None = None) -> list[Event]:
    """Return the events that put the present racquet aside and take up another, known or new."""
    if key == slots["racquet_key"]:
        return []
    aside = {**slots["racquets"], slots["racquet_key"]: present(slots)}
    taken = aside.pop(key, None) or racquet or {}
    events = [SlotSet("racquets", aside), SlotSet("racquet_key", key), SlotSet("several", bool(aside))]
    for name in (*FACTS, *KEPT):
        value = taken.get(name, EMPTY.get(name))
        if value != slots[name]:
            events.append(SlotSet(name, value))
    return events


def whose(slots: Mapping[str, Any], label: str | None, said: Iterable[str | None]) -> str | None:
    """Return the owner that a pronoun stands for; other labels are owners already.

    Args:
        slots: the state.
        label: an owner's label, SELF for "I", THIRD for "she", or None.
        said: all labels of the same breath.
    """
    people = [racquet["owner"] for racquet in all_racquets(slots).values() if racquet["whose"] == "person"]
    if label == THIRD:
        if slots["whose"] == "person":
            return str(slots["owner"])
        return people[0] if len(people) == 1 else None
    if label == SELF:
        # "I" tells one player from another only where somebody else's racquet is talked of too.
        others = [each for each in said if each and each not in {SELF, THIRD} and not names_a_racquet(each)]
        return SELF if people or others else None
    return label


def take_up(talk: Talk, label: str | None, mentioned: Iterable[str] = ()) -> list[Event]:
    """Return the events after which the racquet of this owner is the present one.

    Args:
        talk: the conversation.
        label: whose value it is: "daughter", "red", "second", SELF; None is the present racquet.
        mentioned: facts said in the same breath without an owner, which then hold for a new racquet too.
    """
    slots = talk.slots
    if label is None or label == slots["owner"]:
        return []
    racquets = all_racquets(slots)
    key = _known(racquets, slots["racquet_key"], label)
    if key is not None:
        claimed = [SlotSet("owner", SELF)] if label == SELF else []
        return [*switch(slots, key), *claimed]
    kind = SELF if label == SELF else "racquet" if names_a_racquet(label) else "person"
    if label not in LABELS["others"] and _unclaimed(slots, racquets, kind):
        return [SlotSet("owner", label), SlotSet("whose", kind)]
    shared: tuple[str, ...] = ()
    if kind == "racquet":
        alike = (slots["racquet_count"] or 0) > 1 or set(STRING_FACTS) & set(mentioned)
        shared = PLAYER_FACTS + (STRING_FACTS if alike else ())
    new = _sharing(slots, shared) | {"whose": kind, "owner": label}
    if kind == "racquet" and slots["record"]:
        new["record"] = {name: slots["record"][name] for name in ("customer_id", "name")}
    return switch(slots, _free_key(racquets), new)


def alike_racquet(slots: Mapping[str, Any], *, strings: bool = True) -> list[Event]:
    """Return the events that put the present racquet aside and take up another of its player, strung alike or not."""
    shared = (*PLAYER_FACTS, *(STRING_FACTS if strings else ()))
    return switch(slots, _free_key(all_racquets(slots)), _sharing(slots, shared))


def fresh_racquet(slots: Mapping[str, Any]) -> list[Event]:
    """Return the events that put everything aside and take up a racquet nothing is known of."""
    return switch(slots, _free_key(all_racquets(slots)), dict(EMPTY))


def owner_label(words: str | None) -> str | None:
    """Return the bare label of an owner as said: "daughter" for "my daughter's racquet", "red" for "the red one"."""
    if not words:
        return None
    plain = re.sub(r"['\u2019]s\b", "", words.casefold()).split()
    kept = [word for word in plain if word not in LABELS["fillers"]]
    return " ".join(SINGULAR.get(word, word) for word in kept) or None


def names_a_racquet(label: str) -> bool:
    """Tell whether a label tells one racquet from another rather than one player from another."""
    return bool(set(label.split()) & LABELS["racquet_words"])


def _free_key(racquets: Mapping[str, Any]) -> str:
    return f"r{1 + max(int(key[1:]) for key in racquets)}"


def _sharing(slots: Mapping[str, Any], shared: Iterable[str]) -> dict[str, Any]:
    """Return a new racquet with some facts of the present one."""
    facts = {name: slots[name] for name in shared if slots[name] is not None}
    words = {name: text for name, text in slots["words"].items() if name in facts}
    unknown = [name for name in slots["unknown"] if name in set(shared)]
    products = slots["products"] if set(STRING_FACTS) & set(shared) else {}
    return {**EMPTY, **facts, "words": words, "unknown": unknown, "products": products}


def _known(racquets: Mapping[str, Mapping[str, Any]], present_key: str, label: str) -> str | None:
    for key, racquet in racquets.items():
        if racquet.get("owner") == label or (label == SELF and racquet["whose"] == SELF and not racquet.get("owner")):
            return key
    if label in LABELS["others"] and len(racquets) == len(("this", "that")):
        return next(key for key in racquets if key != present_key)
    if label in LABELS["firsts"]:
        return next(iter(racquets))
    return None


def _unclaimed(slots: Mapping[str, Any], racquets: Mapping[str, Any], kind: str) -> bool:
    """Tell whether the present racquet may become this owner's: nobody's yet, and nothing said against it."""
    if slots["owner"] or len(racquets) > 1:
        return False
    if kind != "racquet":
        return all(slots[name] is None for name in PLAYER_FACTS)
    return True
