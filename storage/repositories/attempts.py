"""How often something was tried lately, counted for every process on one database together; knows not what."""

from __future__ import annotations

import datetime as dt
import hashlib
from collections.abc import Sequence
from dataclasses import dataclass

from sqlalchemy import delete, func, select, update

from storage import models
from storage.audit import UnitSession

KEYS_AT_MOST = 10_000
"""Past this the keys that were tried longest ago are forgotten."""


@dataclass(frozen=True)
class Bound:
    """So many attempts under one key within a span of time."""

    purpose: str
    key: str
    """Whose attempts are counted together; only a hash of it is stored."""
    attempts: int
    seconds: float

    @property
    def stored(self) -> str:
        """The key as it is stored."""
        return hashlib.sha256(f"{self.purpose}\n{self.key}".encode()).hexdigest()


class Attempts:
    """What was tried lately; without a trail, for it is forgotten within minutes."""

    def __init__(self, session: UnitSession) -> None:
        self._session = session

    def take(self, bounds: Sequence[Bound]) -> float:
        """Note an attempt under each key and return 0; or note none and return the seconds until there may be one.

        Attempts under one key wait for each other, in whichever process they are made, so that none slips through.
        """
        now = self._session.clock()
        self._clear(now)
        self._begin(bounds, now)
        lately = self._lately(bounds, now)
        waits = [_wait(bound, lately[bound.stored], now) for bound in bounds]
        if any(waits):
            return max(waits)
        for bound in bounds:
            moments = [*lately[bound.stored], now.timestamp()]
            until = now + dt.timedelta(seconds=bound.seconds)
            changed = update(models.Attempt).where(models.Attempt.key == bound.stored)
            self._session.execute(changed.values(moments=moments, until=until))
        return 0

    def has(self, bound: Bound) -> bool:
        """Tell whether something was tried under a key within its span."""
        asked = select(models.Attempt.moments).where(models.Attempt.key == bound.stored)
        return bool(_recent(self._session.scalar(asked) or [], bound.seconds, self._session.clock()))

    def forget(self, bound: Bound) -> None:
        """Forget what was tried under a key, after an attempt that was right."""
        self._session.execute(delete(models.Attempt).where(models.Attempt.key == bound.stored))

    def _clear(self, now: dt.datetime) -> None:
        attempt = models.Attempt
        self._session.execute(delete(attempt).where(attempt.until < now))
        if (self._session.scalar(select(func.count()).select_from(attempt)) or 0) > KEYS_AT_MOST:
            oldest = select(attempt.key).order_by(attempt.until).limit(KEYS_AT_MOST // 10)
            self._session.execute(delete(attempt).where(attempt.key.in_(oldest)))

    def _begin(self, bounds: Sequence[Bound], now: dt.datetime) -> None:
        """Have a row for each key, so that there is something to wait at."""
        from sqlalchemy.dialects import postgresql, sqlite  # noqa: PLC0415 - few starts need them

        server = self._session.connection().dialect.name == "postgresql"
        insert = (postgresql.insert if server else sqlite.insert)(models.Attempt)
        for stored in sorted({bound.stored for bound in bounds}):
            self._session.execute(insert.values(key=stored, moments=[], until=now).on_conflict_do_nothing())

    def _lately(self, bounds: Sequence[Bound], now: dt.datetime) -> dict[str, list[float]]:
        attempt = models.Attempt
        asked = (
            select(attempt.key, attempt.moments)
            .where(attempt.key.in_([bound.stored for bound in bounds]))
            .order_by(attempt.key)
            .with_for_update()
        )
        span = {bound.stored: bound.seconds for bound in bounds}
        return {
            **{key: [] for key in span},
            **{key: _recent(moments, span[key], now) for key, moments in self._session.execute(asked)},
        }


def _recent(moments: Sequence[float], seconds: float, now: dt.datetime) -> list[float]:
    """Return the moments within a span of now; nobody waits for the time that a clock was set back by."""
    return [moment for moment in moments if abs(now.timestamp() - moment) < seconds]


def _wait(bound: Bound, moments: list[float], now: dt.datetime) -> float:
    if len(moments) < bound.attempts:
        return 0
    return max(moments[-bound.attempts] + bound.seconds - now.timestamp(), 0.001)
