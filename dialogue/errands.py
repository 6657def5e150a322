"""Errands said in a breath: a name with what it is about, such as "Leonie, match frame, usual"; knows no rule."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, replace
from functools import lru_cache
from typing import Any

from dialogue.answers import Read
from dialogue.messages import Evidence, Understanding
from dialogue.options import WORDS, plain

NAME, RACQUET, COUNT, SAME_AS = "customer_name", "racquet_name", "racquet_count", "same_as"
WHETHER = "whether"
"""Errands of somebody who only wants to know how it stands."""
NAMED = "named"
"""Errands that are heard as ever, but for the racquet's own name."""
ABOUT = frozenset({"log_reading", "ask_label", "mark_strung", "inform"})
INTENTS: Mapping[str, str] = {WHETHER: "pickup", "drop_off": "drop_off"}
GIVES_WAY = frozenset({"out_of_scope", "inform", "greet", "correct", "ask_advice", "pickup", "drop_off", "affirm"})
"""What a line may have been taken for that is one of these errands."""
FETCHES = frozenset(WORDS["fetches"]) - {"here"}
"""With these somebody has come to fetch."""
WORD = r"[^\W\d_][\w-]*"
PLAYS: Mapping[str, str] = {
    "name": rf"(?P<name>{WORD}(?: {WORD}){{0,2}})",
    "owner": rf"(?P<name>{WORD}(?: {WORD}){{0,2}})['\u2019]s",
    "racquet": rf"(?P<racquet>{WORD}(?: {WORD}){{0,3}})",
    "rest": r".+?",
    "figure": r"(?:at |reads )?[-\d].*",
    "count": rf"(?P<count>{'|'.join(map(re.escape, WORDS['errand_count']))})",
    "usual": rf"(?P<usual>{'|'.join(map(re.escape, sorted(WORDS['errand_usual'], key=len, reverse=True)))})",
}


@dataclass(frozen=True)
class Errand:
    """What a line is about, and the words for it."""

    kind: str
    """drop_off, whether or named."""
    name: str
    match: re.Match[str]


def with_errand(heard: Understanding, read: Read) -> Understanding:
    """Return the meaning of a line that is an errand in a breath; any other as it is.

    The name must be one to whoever reads names: at a kiosk there is none, and so no errand.
    """
    known = NAME in heard.slots and heard.intent in INTENTS.values()
    if known or heard.intent not in GIVES_WAY | ABOUT:
        return heard
    for errand in _errands(heard.text):
        if heard.intent not in (ABOUT if errand.kind == NAMED else GIVES_WAY):
            continue
        if NAME in read(NAME, errand.name).slots:
            return _said(heard, errand)
    return heard


def asks_in_a_breath(text: str) -> bool:
    """Tell whether a line only asks how it stands with somebody's racquet, or says that somebody is here."""
    return not FETCHES & set(plain(text).split()) and any(errand.kind == WHETHER for errand in _errands(text))


def _said(heard: Understanding, errand: Errand) -> Understanding:
    """Return the meaning with the errand and what it names; no fact is read out of a racquet's own name."""
    match = errand.match
    groups = {name: text for name, text in match.groupdict().items() if text}

    def piece(group: str, slot: str, value: Any, words: str) -> Evidence:
        return Evidence(slot, value, match.span(group), words, f"errands.{group}", 0.95)

    found = [piece("name", NAME, errand.name, errand.name)]
    label = " ".join(word for word in plain(groups.get("racquet", "")).split() if word not in WORDS["nouns"])
    if label:
        found.append(piece("racquet", RACQUET, plain(groups["racquet"]), groups["racquet"]))
    places = [one.span for one in found]
    if "count" in groups:
        count = WORDS["errand_count"][groups["count"].casefold()]
        found.append(piece("count", COUNT, count, groups["count"]))
    if "usual" in groups:
        found.append(piece("usual", SAME_AS, "last", groups["usual"]))
    fresh = {one.slot: one.value for one in found}
    kept = [
        one
        for one in heard.evidence
        if one.slot not in fresh
        and not any(start <= one.span[0] and one.span[1] <= end and start < end for start, end in places)
    ]
    slots = {one.slot: heard.slots.get(one.slot, one.value) for one in kept} | fresh
    intent = INTENTS.get(errand.kind, heard.intent)
    return replace(heard, intent=intent, slots=slots, evidence=(*kept, *found), questions=(), suggestions=())


def _errands(text: str) -> Iterator[Errand]:
    for kind, pattern in _patterns():
        match = pattern.fullmatch(text.strip())
        if match and not set(plain(match["name"]).split()) & set(WORDS["errand_no_name"]):
            name = match["name"]
            yield Errand(kind, name.title() if name == name.lower() else name, match)


@lru_cache(maxsize=1)
def _patterns() -> tuple[tuple[str, re.Pattern[str]], ...]:
    """Return every way of saying an errand; what follows behind a stop is read as ever."""
    begins = rf"(?:(?:{'|'.join(WORDS['errand_begins'])})[, ]+)?"
    return tuple(
        (kind, re.compile(begins + way.format(**PLAYS) + r"(?: (?:yet|now|please))?(?:\s*[.,!?;].*)?", re.IGNORECASE))
        for kind, ways in WORDS["errands"].items()
        for way in ways
    )
