"""Counts attempts in this worker, or for all workers together, and keeps ended sessions; knows no page."""

from __future__ import annotations

import time
from collections import OrderedDict, deque
from collections.abc import Callable

from assistant.channels.web.wording import Throttling, figure, throttling
from dialogue.counter.attempts import Bound, forget_attempts, has_attempt, take_attempt
from dialogue.counter.counter import Counter

KEYS_AT_MOST = 10_000
"""Past this the keys that tried longest ago are forgotten."""


class Throttle:
    """So many attempts of one key within a span of time, in this worker alone."""

    def __init__(self, limit: Throttling, clock: Callable[[], float] = time.monotonic) -> None:
        self._limit = limit
        self._clock = clock
        self._attempts: OrderedDict[str, deque[float]] = OrderedDict()

    def wait(self, key: str) -> int:
        """Return after how many seconds the key may try again; 0 is now."""
        moments = self._recent(key)
        if len(moments) < self._limit.attempts:
            return 0
        return int(moments[0] + self._limit.seconds - self._clock()) + 1

    def count(self, key: str) -> None:
        """Note an attempt."""
        self._recent(key).append(self._clock())

    def _recent(self, key: str) -> deque[float]:
        moments = self._attempts.setdefault(key, deque(maxlen=self._limit.attempts))
        self._attempts.move_to_end(key)
        while len(self._attempts) > KEYS_AT_MOST:
            self._attempts.popitem(last=False)
        while moments and moments[0] + self._limit.seconds <= self._clock():
            moments.popleft()
        return moments


def let_try(counter: Counter, **keys: str) -> bool:
    """Note an attempt under each throttle's key and return True; or note none and return False.

    Counted in the database, so that several workers let nobody guess several times as often.
    """
    return not take_attempt(counter, *(_bound(name, key) for name, key in keys.items()))


def forgive(counter: Counter, name: str, key: str) -> None:
    """Forget a key's attempts at a throttle, after one that was right."""
    forget_attempts(counter, _bound(name, key))


def end_session(counter: Counter, nonce: str) -> None:
    """Note that a session of staff was ended, for all workers, for as long as it could have lasted."""
    take_attempt(counter, _ended(nonce))


def is_ended(counter: Counter, nonce: str) -> bool:
    """Tell whether a session of staff was ended, in whichever worker."""
    return has_attempt(counter, _ended(nonce))


def _ended(nonce: str) -> Bound:
    return Bound("ended", nonce, 1, figure("staff_longest_seconds"))


def _bound(name: str, key: str) -> Bound:
    limit = throttling(name)
    return Bound(name, key, limit.attempts, limit.seconds)
