"""What decisions rest on: conversations, consultations and the rulebooks that made them; reads none of them."""

from __future__ import annotations

import datetime as dt
import json
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from sqlalchemy import bindparam, delete, func, insert, select, update
from sqlalchemy.exc import IntegrityError

from storage import models
from storage.errors import Conflict
from storage.repositories.base import Repository, read, stored_columns
from storage.rows import ConsultationRow, ConversationRow, RulebookRow


class Rulebooks(Repository[models.Rulebook, RulebookRow]):
    """Every rulebook that ever decided."""

    model = models.Rulebook
    row = RulebookRow

    def keep(self, hash_: str, content: str) -> None:
        """Store a rulebook's content under its hash, once.

        Raises:
            Conflict: when other content is stored under the same hash.
        """
        stored = self._session.get(models.Rulebook, hash_)
        if stored is None:
            self.add(RulebookRow(hash=hash_, content=content))
        elif stored.content != content:
            raise Conflict(
                "rulebook", hash_, "Another rulebook is stored under this hash; the hash must cover all of it."
            )

    def decided(self) -> dict[str, int]:
        """Return how many consultations each kept rulebook decided, by hash."""
        table = models.Consultation
        counted = select(models.Rulebook.hash, func.count(table.id)).outerjoin(
            table, table.rulebook == models.Rulebook.hash
        )
        order = counted.group_by(models.Rulebook.hash).order_by(models.Rulebook.hash)
        return {str(row[0]): int(row[1]) for row in self._session.execute(order)}


class Consultations(Repository[models.Consultation, ConsultationRow]):
    """Every decision; a stored one never changes."""

    model = models.Consultation
    row = ConsultationRow

    def _given(self, row: ConsultationRow) -> dict[str, Any]:
        """Return the columns of a new consultation, the words apart from the facts; its rulebook must be kept."""
        facts = dict(row.facts)
        words = facts.pop("words", None)
        copies = {"facts": _own(facts), "words": _own(words) if words else None, "decision": _own(row.decision)}
        return super()._given(row) | copies

    def link(
        self, key: int, *, customer_id: int | None = None, racquet_id: int | None = None, job_id: int | None = None
    ) -> ConsultationRow:
        """Say whose consultation it was, which racquet's or which stringing's, and return it; None changes nothing."""
        links = {"customer_id": customer_id, "racquet_id": racquet_id, "job_id": job_id}
        return self.change(key, **{name: value for name, value in links.items() if value is not None})

    def latest_of_customer(self, customer_id: int) -> ConsultationRow | None:
        """Return the customer's last consultation."""
        return self._latest(models.Consultation.customer_id == customer_id)

    def latest_of_racquet(self, racquet_id: int) -> ConsultationRow | None:
        """Return the racquet's last consultation."""
        return self._latest(models.Consultation.racquet_id == racquet_id)

    def latest_of_job(self, job_id: int) -> ConsultationRow | None:
        """Return the stringing's last consultation."""
        return self._latest(models.Consultation.job_id == job_id)

    def of_racquet(self, racquet_id: int) -> tuple[ConsultationRow, ...]:
        """Return all consultations on a racquet, the newest first."""
        return self.rows(
            self._select().where(models.Consultation.racquet_id == racquet_id).order_by(models.Consultation.id.desc())
        )

    def _latest(self, condition: Any) -> ConsultationRow | None:
        return self.first(self._select().where(condition).order_by(models.Consultation.id.desc()))

    def _row(self, live: models.Consultation) -> ConsultationRow:
        facts = dict(live.facts) | ({"words": live.words} if live.words else {})
        return ConsultationRow(
            id=live.id,
            created_at=live.created_at,
            customer_id=live.customer_id,
            racquet_id=live.racquet_id,
            job_id=live.job_id,
            conversation_id=live.conversation_id,
            today=live.today,
            facts=_own(facts),
            decision=_own(live.decision),
            rulebook=live.rulebook,
        )


# Every turn begins and ends with these: plain statements, put together once.
_TALKS: Any = models.Conversation.__table__
_LOAD = select(*stored_columns(models.Conversation, ConversationRow)).where(_TALKS.c.sender_id == bindparam("sender"))
_CHANGING = ("events", "customer_id", "version", "updated_at")
_BEGIN = insert(_TALKS).returning(_TALKS.c.id)
_GO_ON = (
    update(_TALKS)
    .where(_TALKS.c.sender_id == bindparam("sender"), _TALKS.c.version == bindparam("seen"))
    .values({name: bindparam(name) for name in _CHANGING})
    .returning(_TALKS.c.id)
)


class Conversations(Repository[models.Conversation, ConversationRow]):
    """Every conversation that is not forgotten yet."""

    model = models.Conversation
    row = ConversationRow

    def load(self, sender_id: str) -> ConversationRow:
        """Return the conversation of this sender; an empty one of version 0 when there is none yet."""
        found = self._session.execute(_LOAD, {"sender": sender_id}).first()
        return read(iter(found), ConversationRow) if found else ConversationRow(sender_id=sender_id)

    def save(self, row: ConversationRow) -> ConversationRow:
        """Store the conversation and return it with its new version.

        Raises:
            Conflict: when another worker saved a turn since this one was loaded: load it and answer again.
        """
        saved = replace(row, version=row.version + 1, updated_at=self._session.clock())
        written = {name: getattr(saved, name) for name in _CHANGING} | {"events": list(row.events)}
        if row.version == 0:
            try:
                number = self._session.execute(_BEGIN, {"sender_id": row.sender_id, **written}).scalar_one()
            except IntegrityError as error:
                raise Conflict(
                    "conversation", None, f"This conversation contradicts what is stored: {error.orig}."
                ) from error
        else:
            which = {"sender": row.sender_id, "seen": row.version}
            number = self._session.execute(_GO_ON, {**which, **written}).scalar()
            if number is None:
                raise Conflict("conversation", row.id, "Another turn of this conversation was stored meanwhile.")
            for known in self._session.identity_map.values():
                if isinstance(known, models.Conversation):
                    self._session.expire(known)
        return replace(saved, id=number)

    def forget_before(self, moment: dt.datetime) -> int:
        """Remove the conversations nobody has continued since and return how many there were."""
        gone = self._session.execute(
            delete(models.Conversation).where(models.Conversation.updated_at < moment).returning(models.Conversation.id)
        )
        return len(gone.all())


def _own(value: Mapping[str, Any] | list[Any]) -> Any:
    """Return a copy that shares nothing with the caller's value and holds only what JSON can."""
    return json.loads(json.dumps(value))
