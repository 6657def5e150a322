"""The counter's use cases: decide, remember, take in, measure, hand over; knows no phrase and no conversation."""

from dialogue.services.cards import Card, DueEntry, Fetched, Foreseen, Logged, Moved, RacquetCard, Received
from dialogue.services.shop import Services

__all__ = ["Card", "DueEntry", "Fetched", "Foreseen", "Logged", "Moved", "RacquetCard", "Received", "Services"]
