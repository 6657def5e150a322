"""The counter's use cases: decide, remember, take in, measure, hand over; knows no phrase and no conversation."""

from dialogue.services.cards import Card, DueEntry, Handover, Logged, RacquetCard
from dialogue.services.counter import Services

__all__ = ["Card", "DueEntry", "Handover", "Logged", "RacquetCard", "Services"]
