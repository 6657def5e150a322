"""Advice on strings and tension out of the rulebook, as the conversation keeps it; words nothing."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any

from dialogue.counter.counter import Counter
from dialogue.counter.limits import figure
from dialogue.racquets import STRING_FACTS
from dialogue.services.turns import TurnWork
from rules.advice import advise_strings
from rules.facts import Span
from rules.intake import POUNDS_PER


class Advising(TurnWork):
    """The use cases of somebody who does not know which strings to take."""

    advises_figures = True
    """Whether a tension is advised as one figure; else as a range to be talked over with the stringer."""

    def advise(
        self, raw: Mapping[str, Any], printed: Mapping[str, Any] | None, today: dt.date, *, wanted: bool
    ) -> dict[str, Any] | None:
        """Return the advice of the rulebook as JSON, or None where it gives none.

        Args:
            raw: facts JSON of player and strings.
            printed: {"min", "max", "unit"} as printed on the frame, or None where nobody read it.
            today: the day of the conversation.
            wanted: whether the strings among the facts are those that are to go in, so that only the tension is open.
        """
        kept = raw if wanted else {name: value for name, value in raw.items() if name not in STRING_FACTS}
        advice = advise_strings(self.facts(kept, today), self.book, printed_span(printed))
        return advice.to_dict() if advice else None


def advised_note(counter: Counter, sentences: Sequence[str]) -> str:
    """Return the note on a card that its strings were advised, with as many of the reasons as it holds."""
    for kept in range(len(sentences), 0, -1):
        values = {"day": counter.today, "who": counter.who, "says": " ".join(sentences[:kept])}
        note = counter.wording.say("hand_over.advised", **values)
        if len(note) <= figure("text_characters"):
            return note
    return counter.wording.say("hand_over.advised_bare", day=counter.today, who=counter.who)


def printed_span(printed: Mapping[str, Any] | None) -> Span | None:
    """Return the range printed on a frame in lb, or None where nobody read it."""
    if not printed:
        return None
    per = POUNDS_PER[printed["unit"]]
    return Span(printed["min"] * per, printed["max"] * per)
