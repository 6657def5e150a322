"""Which of several named things an answer picks; knows nothing of what the things are."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from itertools import product
from pathlib import Path
from typing import Any

from dialogue.yaml_files import read_yaml

WORDS = read_yaml(Path(__file__).parent / "domain" / "choosing.yml")
PLACES = tuple(
    frozenset(form.format(word=word) for form in WORDS["forms"] for word in words) for words in WORDS["ordinals"]
)
"""What may be said for the first, the second ... of several things."""
ANSWERS: Mapping[str, Mapping[str, Sequence[str]]] = WORDS["answers"]
"""What may be said to questions that only this counter asks, by slot and value."""
SOONER = frozenset(WORDS["sooner"])
ALL = frozenset(WORDS["all"])
NAMES_FOLLOW = frozenset(WORDS["names_follow"])
"""After one of these stands for whom something is."""
SHORTEST_TAIL = 2
LONGEST_NAME = 3
"""Words of a name that a trainee says."""


def chosen(options: Mapping[str, Any], message: Mapping[str, Any]) -> Sequence[Any] | None:
    """Return the values that the words of a message pick, or None where they pick none or could mean several."""
    entries = options["entries"]
    for entity in message.get("entities", ()):
        if entity["entity"] == "customer_choice" and isinstance(entity["value"], int):
            index = entity["value"] if entity["value"] < 0 else entity["value"] - 1
            if -len(entries) <= index < len(entries):
                return [entries[index]["value"]]
    said = plain(str(message.get("text", "")))
    if not said:
        return None
    if said in ALL and options.get("several"):
        return [entry["value"] for entry in entries]
    exact = [entry["value"] for entry in entries if plain(entry["text"]) == said]
    if len(exact) == 1:
        return exact
    for place, entry in zip(PLACES, entries, strict=False):
        if said in place:
            return [entry["value"]]
    marks = [{word for mark in entry["marks"] for word in plain(mark).split()} for entry in entries]
    fitting = [
        entry["value"]
        for place, entry in enumerate(entries)
        if _fits(set(said.split()), marks[place].difference(*marks[:place], *marks[place + 1 :]))
    ]
    return fitting if len(fitting) == 1 else None


def answer_to(slot: str, text: str) -> tuple[str, str] | None:
    """Return the value of a slot that a text names, and the words that name it: the longest that stand in it."""
    said = f" {plain(text)} "
    fitting = [
        (len(words), value, words)
        for value, all_words in ANSWERS[slot].items()
        for words in all_words
        if f" {plain(words)} " in said
    ]
    return max(fitting)[1:] if fitting else None


def trainee_said(text: str, known: Sequence[str]) -> str | None:
    """Return the trainee whom a text names: one that is known, or who says who they are."""
    said = f" {plain(text)} "
    named = [name for name in known if f" {plain(name)} " in said]
    if named:
        return max(named, key=len)
    for piece, mark in product(re.split("[,.;!?]", text), WORDS["trainee_follows"]):
        _, found, name = f" {plain(piece)} ".partition(f" {plain(mark)} ")
        words = name.split()
        if found and 1 <= len(words) <= LONGEST_NAME and not set(words) & set(WORDS["no_trainee"]):
            return " ".join(word.capitalize() for word in words)
    return None


def asks_whether(text: str) -> bool:
    """Tell whether somebody only asks whether a racquet is ready, and does not come for it."""
    said = f"{plain(text)} "
    return any(said.startswith(f"{plain(words)} ") for words in WORDS["whether"]) and not (
        set(said.split()) & set(WORDS["fetches"])
    )


def asks_for_sooner(text: str) -> bool:
    """Tell whether "why not" is asked about an earlier day rather than a later one."""
    return bool(SOONER & set(plain(text).split()))


def none_of_them(message: Mapping[str, Any]) -> bool:
    """Tell whether a message says that it is none of the things named."""
    return any(
        entity["entity"] == "customer_choice" and entity["value"] == "none" for entity in message.get("entities", ())
    )


def _fits(said: set[str], own: set[str]) -> bool:
    """Tell whether something was said that only this entry bears: a word, or the end of its number."""
    tails = {word for word in said if word.isdigit() and len(word) >= SHORTEST_TAIL}
    return bool(said & own) or any(mark.isdigit() and mark.endswith(tail) for mark in own for tail in tails)


def plain(text: str) -> str:
    """Return the words of a text alone, in small letters, one blank between two."""
    return " ".join(re.findall(r"[^\W_]+", text.casefold()))
