"""Customers and their racquets, found the way people name them; knows no use case."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import fields, replace

from sqlalchemy import ColumnElement, func, insert, select

from storage import models, spoken
from storage.audit import record_created
from storage.repositories.base import Repository
from storage.rows import CustomerHit, CustomerRow, RacquetRow

CANDIDATES = 250
"""How many customers sharing the most keys with a spoken name are compared with it letter by letter."""
LEAST_LIKENESS = 60.0
"""Below this a customer is no answer to a name that was asked for."""
SHORTEST_TAIL = 4


class Customers(Repository[models.Customer, CustomerRow]):
    """Everybody who brings racquets."""

    model = models.Customer
    row = CustomerRow

    def add_all(self, rows: Iterable[CustomerRow]) -> tuple[CustomerRow, ...]:
        """Store many new customers together and return them with their numbers; the trail names each.

        By plain statements, for a shop's whole list: measured on 50,000 of them, a third of the time that
        storing them as objects takes.
        """
        stored = [replace(row, created_at=self._session.clock()) for row in rows]
        if not stored:
            return ()
        values = [
            {
                **{part.name: getattr(row, part.name) for part in fields(row) if part.name != "id"},
                "name_key": spoken.fold(row.name),
                "phone_tail": spoken.phone_tail(row.phone),
            }
            for row in stored
        ]
        numbers = self._session.connection().execute(
            insert(models.Customer).returning(models.Customer.id, sort_by_parameter_order=True), values
        )
        kept = tuple(replace(row, id=number) for row, number in zip(stored, numbers.scalars(), strict=True))
        keys = [{"key": key, "customer_id": row.id} for row in kept for key in sorted(spoken.keys(row.name))]
        if keys:
            self._session.connection().execute(insert(models.CustomerKey), keys)
        record_created(
            self._session, models.Customer, [{**one, "id": row.id} for one, row in zip(values, kept, strict=True)]
        )
        return kept

    def named(self, name: str) -> tuple[CustomerRow, ...]:
        """Return the customers of exactly this name; case, accents and punctuation do not count."""
        return self.rows(
            self._select().where(models.Customer.name_key == spoken.fold(name)).order_by(models.Customer.id)
        )

    def sounding_like(self, name: str, limit: int = 5) -> tuple[CustomerHit, ...]:
        """Return the customers whose name is spelt or sounds like the one asked for, the likeliest first."""
        wanted = spoken.keys(name)
        if not wanted:
            return ()
        key = models.CustomerKey
        shared = (
            select(key.customer_id)
            .where(key.key.in_(wanted))
            .group_by(key.customer_id)
            .order_by(func.count().desc(), key.customer_id)
            .limit(CANDIDATES)
        )
        found = self._session.execute(
            select(models.Customer.id, models.Customer.name_key).where(models.Customer.id.in_(shared))
        )
        asked = spoken.fold(name)
        scored = [(spoken.likeness(asked, own), -number) for number, own in found]
        best = sorted((pair for pair in scored if pair[0] >= LEAST_LIKENESS), reverse=True)[:limit]
        rows = {row.id: row for row in self._of(-number for _, number in best)}
        return tuple(CustomerHit(customer=rows[-number], score=round(score, 1), by="name") for score, number in best)

    def by_phone_tail(self, digits: str, limit: int = 5) -> tuple[CustomerRow, ...]:
        """Return the customers whose phone number ends in these digits; four or more are needed."""
        tail = spoken.phone_tail(digits)
        if tail is None or len(tail) < SHORTEST_TAIL:
            return ()
        return self.rows(self._select().where(_begins(tail)).order_by(models.Customer.id).limit(limit))

    def by_tag(self, tag: str) -> CustomerRow | None:
        """Return the owner of the racquet or of the stringing that bears this tag."""
        said = spoken.read_tag(tag)
        owner = select(models.Racquet.customer_id)
        stringing = select(models.StringJob.racquet_id).where(models.StringJob.tag == said).scalar_subquery()
        for found in (owner.where(models.Racquet.id == stringing), owner.where(models.Racquet.tag == said)):
            number = self._session.scalar(found)
            if number is not None:
                return self.get(number)
        return None

    def find(self, said: str, limit: int = 5) -> tuple[CustomerHit, ...]:
        """Return who may be meant by a name, the end of a phone number or a tag, the likeliest first.

        Several answers are all returned: the caller asks which.
        """
        hits: list[CustomerHit] = []
        owner = self.by_tag(said) if len(spoken.read_tag(said)) == spoken.TAG_LENGTH else None
        if owner:
            hits.append(CustomerHit(customer=owner, score=100.0, by="tag"))
        hits += [CustomerHit(customer=row, score=100.0, by="phone") for row in self.by_phone_tail(said, limit)]
        hits += self.sounding_like(said, limit)
        first = {hit.customer.id: hit for hit in reversed(hits)}
        return tuple(sorted(first.values(), key=lambda hit: (-hit.score, hit.customer.id))[:limit])

    def _of(self, numbers: Iterable[int]) -> tuple[CustomerRow, ...]:
        return self.rows(self._select().where(models.Customer.id.in_(list(numbers))))


def _begins(tail: str) -> ColumnElement[bool]:
    """Return the range of turned-round numbers that begin so: a range of digits sorts alike in every collation."""
    return models.Customer.phone_tail.between(tail, tail.ljust(spoken.TAIL_LENGTH + 1, "9"))


class Racquets(Repository[models.Racquet, RacquetRow]):
    """Every frame that was ever brought."""

    model = models.Racquet
    row = RacquetRow

    def of_customer(self, customer_id: int) -> tuple[RacquetRow, ...]:
        """Return the racquets of one customer in the order they were first brought."""
        return self.rows(self._select().where(models.Racquet.customer_id == customer_id).order_by(models.Racquet.id))

    def by_tag(self, tag: str) -> RacquetRow | None:
        """Return the racquet that bears this tag, or whose stringing does."""
        said = spoken.read_tag(tag)
        stringing = select(models.StringJob.racquet_id).where(models.StringJob.tag == said).scalar_subquery()
        return self.first(self._select().where(models.Racquet.id == stringing)) or self.first(
            self._select().where(models.Racquet.tag == said)
        )
