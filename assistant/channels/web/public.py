"""The conversation as the public may have it at a kiosk: about one's own strings, never about anybody's card."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from dataclasses import replace

from dialogue.catalogue import Domain, load_domain
from dialogue.conversation import Conversation, Understand
from dialogue.messages import Understanding
from dialogue.services import Card, DueEntry, Services

CARDS = frozenset({"customer_name", "customer_phone", "promised_on"})
"""What is said of a card, not of strings."""
FOR_STAFF = frozenset({"pickup", "drop_off", "ask_due_list", "mark_strung", "ask_next", "ask_label", "forget_contact"})
"""What only somebody at the counter may do; a kiosk sends people there."""


class PublicServices(Services):
    """The shop's use cases without its customers."""

    moves_dates = False
    """Nobody's day is moved at a kiosk."""
    advises_figures = False
    """A tension is talked over with the stringer."""

    def names(self) -> tuple[str, ...]:
        """Return no name: the ear of a kiosk knows nobody."""
        return ()

    def trouble(self, error: Exception) -> None:
        """Return nothing: where the shop keeps its data is nobody's business at a kiosk."""
        del error

    def trainee_in(self, text: str) -> None:
        """Return nobody: who works here is not told at a kiosk, and nobody's course is taken there."""
        del text

    def find(self, name: str) -> tuple[Card, ...]:
        """Return nobody, whatever the name."""
        del name
        return ()

    def due(self, today: dt.date) -> tuple[DueEntry, ...]:
        """Return nobody's date."""
        del today
        return ()


def open_public_conversation(services: PublicServices, understand: Understand) -> Conversation:
    """Return a conversation in which nobody's card is brought up, written or offered."""
    return Conversation(services, PublicUnderstand(understand), keep_no_names(load_domain()))


def keep_no_names(domain: Domain) -> Domain:
    """Return the domain in which the offer to keep an answer under a name counts as declined from the start."""
    declined = [*domain.initial["declined"], "customer_name", "customer_phone"]
    return replace(domain, initial={**domain.initial, "declined": declined})


class PublicUnderstand:
    """Reads words as ever, and leaves out what is about cards."""

    def __init__(self, understand: Understand) -> None:
        self._understand = understand

    def __call__(
        self, text: str, *, asked: str | None, channel: str, today: dt.date, names: Sequence[str] = ()
    ) -> Understanding:
        """Return what a text means to somebody at a kiosk."""
        heard = self._understand(text, asked=asked, channel=channel, today=today, names=names)
        intent = heard.intent
        if intent in FOR_STAFF:
            intent = "human"
        elif intent == "log_reading":
            # A reading said at a kiosk is weighed in the talk; it is written on no card.
            intent = "inform"
        return replace(
            heard,
            intent=intent,
            slots={slot: value for slot, value in heard.slots.items() if slot not in CARDS},
            evidence=tuple(piece for piece in heard.evidence if piece.slot not in CARDS),
        )
