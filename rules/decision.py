"""The answer of the rules: frozen, complete with its reasons, and the same as JSON and as objects."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import dataclass, field
from enum import StrEnum
from typing import Any


class Verdict(StrEnum):
    """What to do with the strings."""

    RESTRING_NOW = "restring_now"
    RESTRING_SOON = "restring_soon"
    PLAY_ON = "play_on"
    NEED_MORE = "need_more"


@dataclass(frozen=True)
class Need:
    """A fact that would decide or strengthen the answer, and the row that reads it."""

    fact: str
    because: str
    """A sentence a customer understands."""
    row: str
    ask: bool = True
    """Needed facts, and facts that a row reads, are asked; the others are offered once."""

    def to_dict(self) -> dict[str, Any]:
        """Return the need as JSON."""
        return {"fact": self.fact, "because": self.because, "row": self.row}


@dataclass(frozen=True)
class Step:
    """One row of the rulebook that fired, with what it read and gave."""

    row: str
    table: str
    read: Mapping[str, Any]
    gives: Mapping[str, Any]
    says: str
    """The row's sentence with its values filled in."""
    source: str
    """Where the row comes from, as a sentence or citation."""
    against: bool = False
    """True when this evidence speaks against the verdict."""

    def to_dict(self) -> dict[str, Any]:
        """Return the step as JSON."""
        return {
            "row": self.row,
            "table": self.table,
            "read": dict(self.read),
            "gives": dict(self.gives),
            "says": self.says,
            "source": self.source,
            "against": self.against,
        }


@dataclass(frozen=True)
class Decision:
    """Verdict, interval and dates with the trail they rest on."""

    verdict: Verdict
    rulebook: str
    """Content hash of the rulebook that decided."""
    interval: Mapping[str, Any] | None = None
    """{"months": n or [low, high]}, {"before": "league_start"}, or None."""
    every: str | None = None
    """The interval in words: "every four months"."""
    restring_by: dt.date | None = None
    """The latest day: the last of the window, the label date where that is earlier."""
    window: tuple[dt.date, dt.date] | None = None
    loss_percent: float | None = None
    """Loss since the baseline in per cent, negative when the reading rose."""
    energy_percent: float | None = None
    """Energy left in per cent, for a deflection meter only."""
    approximate: bool = False
    """True when a date rests on an approximate day or a fact nobody could give."""
    needs: tuple[Need, ...] = ()
    """What must be known before there is a verdict, first to ask first."""
    strengthens: tuple[Need, ...] = ()
    """What would make the answer firmer."""
    cautions: tuple[str, ...] = ()
    """Keys of cautions to speak, see book/cautions.yaml."""
    trail: tuple[Step, ...] = field(default=())

    def to_dict(self) -> dict[str, Any]:
        """Return the decision as JSON, keys in a fixed order."""
        return {
            "verdict": self.verdict.value,
            "interval": dict(self.interval) if self.interval else None,
            "every": self.every,
            "restring_by": self.restring_by.isoformat() if self.restring_by else None,
            "window": [day.isoformat() for day in self.window] if self.window else None,
            "loss_percent": self.loss_percent,
            "energy_percent": self.energy_percent,
            "approximate": self.approximate,
            "needs": [need.to_dict() for need in self.needs],
            "strengthens": [{**need.to_dict(), "ask": need.ask} for need in self.strengthens],
            "cautions": list(self.cautions),
            "trail": [step.to_dict() for step in self.trail],
            "rulebook": self.rulebook,
        }

    @classmethod
    def from_dict(cls, data: Mapping[str, Any]) -> Decision:
        """Return the decision that `to_dict` wrote.

        Raises:
            KeyError, ValueError: when the data is not a decision.
        """
        window = data["window"]
        return cls(
            verdict=Verdict(data["verdict"]),
            rulebook=data["rulebook"],
            interval=data["interval"],
            every=data["every"],
            restring_by=_day(data["restring_by"]),
            window=(dt.date.fromisoformat(window[0]), dt.date.fromisoformat(window[1])) if window else None,
            loss_percent=data["loss_percent"],
            energy_percent=data["energy_percent"],
            approximate=data["approximate"],
            needs=tuple(Need(need["fact"], need["because"], need["row"]) for need in data["needs"]),
            strengthens=tuple(
                Need(need["fact"], need["because"], need["row"], ask=need["ask"]) for need in data["strengthens"]
            ),
            cautions=tuple(data["cautions"]),
            trail=tuple(Step(**step) for step in data["trail"]),
        )


def _day(text: str | None) -> dt.date | None:
    return dt.date.fromisoformat(text) if text else None
