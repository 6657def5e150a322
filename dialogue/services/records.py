"""The cards of customers, racquets and stringings in one unit of work; knows no conversation."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from typing import Any

from dialogue.services.cards import Card, DueEntry, RacquetCard
from dialogue.services.on_record import OnRecord
from dialogue.translate import customer_values, due_values, job_products, job_values, phone_tail, printed_range
from rules.decision import Decision
from rules.facts import Facts
from storage.rows import (
    ConsultationRow,
    CustomerRow,
    JobStatus,
    RacquetRow,
    StringJobRow,
)
from storage.spoken import fold
from storage.unit_of_work import UnitOfWork

WEEK = 7
IN_THE_SHOP = (JobStatus.RECEIVED, JobStatus.STRUNG, JobStatus.READY)


class Records:
    """What is on the cards, read and written."""

    def __init__(self, unit: UnitOfWork) -> None:
        self._unit = unit

    def find(self, name: str) -> tuple[Card, ...]:
        """Return who may be meant by a name; where somebody bears exactly that name, nobody who sounds alike."""
        wanted = set(fold(name).split())
        hits = [hit.customer for hit in self._unit.customers.find(name)]
        exact = [row for row in hits if wanted and wanted <= set(fold(row.name).split())]
        return tuple(self._card(row, exact=bool(exact)) for row in exact or hits)

    def _card(self, row: CustomerRow, *, exact: bool) -> Card:
        racquets = self._unit.racquets.of_customer(row.id)
        names = tuple(racquet.nickname or "" for racquet in racquets)
        return Card(row.id, row.name, phone_tail(row.phone), names, exact)

    def open_card(self, name: str, phone: str | None) -> Card:
        """Store a new customer."""
        return self._card(self._unit.customers.add(CustomerRow(name=name, phone=phone)), exact=True)

    def learn(self, customer_id: int, facts: Facts) -> None:
        """Write to a customer's card how he or she plays."""
        if values := customer_values(facts):
            self._unit.customers.change(customer_id, **values)

    def open_racquet(self, customer_id: int, facts: Facts, said: Mapping[str, Any]) -> int:
        """Write a racquet to a customer's card, where it is not on one yet, and return its number.

        Args:
            customer_id: whose card it goes on.
            facts: what is known of racquet and player.
            said: {"record", "nickname"}: its place on record and what it is called, where there are any.
        """
        self.learn(customer_id, facts)
        if known := (said.get("record") or {}).get("racquet_id"):
            return int(known)
        sport = facts.sport and facts.sport.value
        row = RacquetRow(customer_id=customer_id, nickname=said.get("nickname"), sport=sport)
        return self._unit.racquets.add(row).id

    def racquets(self, customer_id: int, today: dt.date) -> tuple[RacquetCard, ...]:
        """Return a customer's racquets in the order they were first brought."""
        return tuple(self.card(row.id, today) for row in self._unit.racquets.of_customer(customer_id))

    def card(self, racquet_id: int, today: dt.date, *, readings: bool = False) -> RacquetCard:
        """Return a racquet with the facts on record; a later reading only where it is asked for."""
        racquet = self._unit.racquets.get(racquet_id)
        job = self._unit.jobs.latest_of(racquet_id)
        customer = self._unit.customers.get(racquet.customer_id) if racquet.customer_id else None
        facts = self._facts(customer, racquet, job, today)
        return RacquetCard(
            customer_id=racquet.customer_id or 0,
            name=customer.name if customer else "",
            racquet_id=racquet_id,
            racquet=racquet.nickname or "",
            job_id=job.id if job else None,
            tag=job.tag if job else "",
            facts={name: value for name, value in facts.items() if readings or name != "reading"},
            status=job.status if job else "",
            printed_range=printed_range(racquet),
            products=job_products(job) if job else {},
        )

    def _facts(
        self, customer: CustomerRow | None, racquet: RacquetRow, job: StringJobRow | None, today: dt.date
    ) -> dict[str, Any]:
        """Return what the cards tell: the player's from the customer, the strings' from the last stringing."""
        earlier = self._unit.consultations.latest_of_racquet(racquet.id)
        readings = self._unit.readings.of_job(job.id) if job else ()
        said, said_on = (earlier.facts, earlier.today) if earlier else ({}, None)
        return OnRecord(customer, racquet, job, readings, said, said_on).facts(today)

    def follow(self, stored: ConsultationRow, facts: Facts, decision: Decision) -> int:
        """Bring a racquet's stringing card up to a decision and return the card's number.

        Strings put on on another day than the card says are another stringing: they get a card of their own.
        """
        if stored.racquet_id is None:
            message = "a consultation without a racquet has no stringing card"
            raise ValueError(message)
        job = self._unit.jobs.latest_of(stored.racquet_id)
        values = job_values(facts)
        strung = values.get("strung_on")
        due = {**due_values(decision), "consultation_id": stored.id}
        other = job and job.strung_on and strung and strung != job.strung_on
        if job is None or other:
            # Strung elsewhere or before the shop kept cards: it is already back with its owner.
            row = StringJobRow(racquet_id=stored.racquet_id, status=JobStatus.COLLECTED, **values, **due)
            return self._unit.jobs.add(row).id
        missing = {name: value for name, value in values.items() if getattr(job, name) in (None, False)}
        return self._unit.jobs.change(job.id, **missing, **due).id

    def in_the_shop(self, customer_id: int, today: dt.date) -> tuple[RacquetCard, ...]:
        """Return a customer's racquets that were not fetched yet."""
        cards = self.racquets(customer_id, today)
        return tuple(card for card in cards if card.job_id and self.job(card).status in IN_THE_SHOP)

    def job(self, card: RacquetCard) -> StringJobRow:
        """Return the stringing of a card that has one."""
        if card.job_id is None:
            message = "the card has no stringing"
            raise ValueError(message)
        return self._unit.jobs.get(card.job_id)

    def due(self, today: dt.date) -> tuple[DueEntry, ...]:
        """Return what is overdue or due within a week."""
        queries = self._unit.queries
        rows = (*queries.overdue(today).rows, *queries.due(today, WEEK).rows)
        return tuple(
            DueEntry(
                row.customer.name if row.customer else "",
                row.racquet.nickname or row.job.tag,
                row.job.restring_by or today,
                row.days_left,
            )
            for row in rows
        )
