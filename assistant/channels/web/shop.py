"""What the browser channel is given to work with; says what it needs and makes none of it."""

from __future__ import annotations

import datetime as dt
import secrets
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any

from assistant.channels.web.ears import LoadListener
from dialogue.counter.counter import Counter
from dialogue.messages import Message, Reply

Turn = Callable[[Message], Sequence[Reply]]
"""Takes one turn of a conversation and returns the answers."""
Suppose = Callable[[Mapping[str, Any], Mapping[str, Any], dt.date], Mapping[str, Any]]
"""Facts JSON, what would be different, the day -> decision JSON, or {"error": {"fact", "value", "message"}}."""
TellFacts = Callable[[Mapping[str, Any]], Sequence[str]]
"""Facts JSON -> each fact in words."""
PrintLabel = Callable[[Counter, str], bytes]
"""The label of the stringing that bears a tag, as PDF."""
Explain = Callable[[BaseException], "Fault | None"]
"""What a storage error means to a person; None for any other error."""


@dataclass(frozen=True)
class Fault:
    """A request that could not be answered, in words for a person."""

    status: int
    """Of HTTP: 404, 409 or 503."""
    says: str


@dataclass(frozen=True)
class Shop:
    """The conversation, the counter and what goes with them."""

    turn: Turn
    """For the public: it brings up no customer and changes no card."""
    suppose: Suppose
    tell_facts: TellFacts
    counter: Callable[[str], Counter]
    """The counter with a person of staff at it, on the present day."""
    today: Callable[[], dt.date]
    explain: Explain
    print_label: PrintLabel | None = None
    load_listener: LoadListener | None = None
    """Loads the ears for browsers; None where nobody is heard."""
    hears_taps: bool = False
    """Whether taps on a stringbed may be heard through the board's browsers."""
    secret: bytes = field(default_factory=lambda: secrets.token_bytes(32), repr=False)
    """Signs the cookies; one made anew at each start signs everybody out."""
    kiosk_only: bool = False
    hosts: frozenset[str] = frozenset()
    """Names under which the server may be called, beside numbers and localhost."""
