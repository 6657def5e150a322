"""What each kiosk shows just now, by conversation; forgets by itself, and holds nothing the store does not have."""

from __future__ import annotations

import time
from collections import OrderedDict
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from assistant.channels.web.sessions import TalkSession
from assistant.channels.web.wording import figure
from dialogue.messages import Choice, Reply


@dataclass(frozen=True)
class Talk:
    """The last answer of one conversation."""

    text: tuple[str, ...]
    speech: str
    asked: str | None
    choices: tuple[Choice, ...]
    facts: Mapping[str, Any] = field(default_factory=dict)
    decision: Mapping[str, Any] | None = None
    ended: bool = False
    fresh: bool = True
    """True when this turn brought the decision, so that the card says what the text says."""
    known: int = 0
    """How many questions are answered."""
    left: int = 1
    """How many the rules still have."""
    told: tuple[str, ...] = ()
    """What is known, in words."""
    on_record: bool = False
    """True for a racquet brought up by its tag or its owner, not talked of here."""
    racquet: str = ""
    """What that racquet is called; empty where it has no name."""
    options: tuple[Any, ...] = ()
    """The racquets of the owner who was found, while one of them is to be picked."""


def merge(replies: Sequence[Reply], before: Talk | None) -> Talk:
    """Return the replies of one turn as what the kiosk shows."""
    last = replies[-1]
    decision = dict(last.decision) if last.decision else None
    return Talk(
        text=tuple(text for reply in replies for text in reply.text),
        speech=" ".join(reply.speech for reply in replies if reply.speech),
        asked=last.asked,
        choices=last.choices,
        facts=dict(last.facts),
        decision=decision,
        left=len(last.wanted),
        ended=any(reply.ended for reply in replies),
        fresh=before is None or before.decision != decision,
    )


class Talks:
    """The open kiosks of this worker; another worker's are asked of the conversation again."""

    def __init__(self, clock: Callable[[], float] = time.monotonic) -> None:
        self._clock = clock
        self._open: OrderedDict[str, tuple[float, int, Talk]] = OrderedDict()

    def get(self, session: TalkSession) -> Talk | None:
        """Return what a conversation shows, or None when it is unknown, went on elsewhere or was left alone."""
        moment, turns, talk = self._open.get(session.key, (0.0, 0, None))
        if talk is None or turns != session.turns or self._clock() - moment > figure("talk_forgotten_seconds"):
            return None
        return talk

    def keep(self, session: TalkSession, talk: Talk) -> None:
        """Keep what a conversation shows, and forget those left alone too long."""
        key, now = session.key, self._clock()
        self._open[key] = (now, session.turns, talk)
        self._open.move_to_end(key)
        oldest = next(iter(self._open))
        while len(self._open) > figure("talks_at_most") or (
            now - self._open[oldest][0] > figure("talk_forgotten_seconds")
        ):
            del self._open[oldest]
            oldest = next(iter(self._open))

    def forget(self, key: str) -> None:
        """Forget a conversation."""
        self._open.pop(key, None)
