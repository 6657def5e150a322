"""A decision as the card on the screen: verdict, day, reasons, the whole reasoning; decides nothing."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from typing import Any

from assistant.channels.web.wording import figure, load_words, say

SayDay = Callable[[dt.date], str]
"""A day in the words of the rulebook."""
WEIGHT = ("verdict", "reading", "comparable", "label", "due", "latest", "interval", "interval_unsure")
"""Which tables' sentences come first where only a few are shown."""
CAUTIONS = "cautions"


@dataclass(frozen=True)
class TrailRow:
    """One row of the rulebook as the reasoning shows it."""

    row: str
    says: str
    source: str
    against: bool


@dataclass(frozen=True)
class Card:
    """What a customer sees of a decision."""

    verdict: str
    """restring_now, restring_soon, play_on or need_more: the name of the icon and of the words."""
    word: str
    when: str
    """The day, the window or the interval in words; empty where nothing can be named."""
    every: str
    why: tuple[str, ...]
    against: tuple[str, ...]
    cautions: tuple[str, ...]
    trail: tuple[TrailRow, ...]
    day: dt.date | None
    """The day to take along."""
    approximate: bool
    rulebook: str


def build_card(decision: Mapping[str, Any], say_day: SayDay) -> Card:
    """Return the card of a decision as JSON."""
    trail = decision["trail"]
    last = decision["restring_by"]
    return Card(
        verdict=decision["verdict"],
        word=load_words()["verdicts"][decision["verdict"]],
        when=_say_when(decision, say_day),
        every=decision["every"] or "",
        why=_reasons(decision),
        against=tuple(step["says"] for step in trail if step["against"]),
        cautions=tuple(step["says"] for step in trail if step["table"] == CAUTIONS),
        trail=tuple(TrailRow(step["row"], step["says"], step["source"], step["against"]) for step in trail),
        day=dt.date.fromisoformat(last) if last else None,
        approximate=decision["approximate"],
        rulebook=decision["rulebook"],
    )


def _say_when(decision: Mapping[str, Any], say_day: SayDay) -> str:
    words = load_words()["card"]
    if not decision["restring_by"]:
        return str(decision["every"] or "")
    last = say_day(dt.date.fromisoformat(decision["restring_by"]))
    about = "_about" if decision["approximate"] else ""
    if decision["window"] and decision["window"][1] == decision["restring_by"]:
        first = say_day(dt.date.fromisoformat(decision["window"][0]))
        return say(words[f"window{about}"], first=first, last=last)
    late = "was" if decision["verdict"] == "restring_now" else "by"
    return say(words[f"{late}{about}"], day=last)


def _reasons(decision: Mapping[str, Any]) -> tuple[str, ...]:
    """Return the few sentences that weigh most, each once."""
    steps = [step for step in decision["trail"] if step["table"] in WEIGHT and not step["against"]]
    ranked = sorted(steps, key=lambda step: WEIGHT.index(step["table"]))
    said = list(dict.fromkeys(step["says"] for step in ranked))
    if not said:
        said = [need["because"] for need in decision["needs"]]
    return tuple(said[: figure("reasons_shown")])


def unsaid(text: tuple[str, ...], card: Card) -> tuple[str, ...]:
    """Return the paragraphs that say more than the card does."""
    shown = [row.says for row in card.trail] + [card.word]
    return tuple(part for part in text if not any(piece in part for piece in shown))
