"""Letting somebody try something only so often, counted for every process of the shop together."""

from __future__ import annotations

from dialogue.counter.counter import Counter
from storage.repositories.attempts import Bound

__all__ = ["Bound", "forget_attempts", "has_attempt", "take_attempt"]


def take_attempt(counter: Counter, *bounds: Bound) -> float:
    """Note an attempt under each key and return 0; or note none and return the seconds until there may be one."""
    with counter.work() as unit:
        return unit.attempts.take(bounds)


def has_attempt(counter: Counter, bound: Bound) -> bool:
    """Tell whether something was tried under a key within its span."""
    with counter.look() as unit:
        return unit.attempts.has(bound)


def forget_attempts(counter: Counter, bound: Bound) -> None:
    """Forget what was tried under a key, after an attempt that was right."""
    with counter.work() as unit:
        unit.attempts.forget(bound)
