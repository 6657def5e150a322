"""What is done with stringings at counter and bench, from drop-off to pick-up; knows no conversation."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from dialogue.counter.counter import Counter
from dialogue.counter.outcomes import Refusal
from dialogue.products import Product
from dialogue.racquets import DATED_FACTS, PLAYER_FACTS
from dialogue.services.advising import advised_note
from dialogue.services.at_need import bench, customers, drop_off, labels, left, pickup, readings
from dialogue.services.at_need import fresh as fresh_bed
from dialogue.services.cards import Fetched, Label, Logged, LookedOver, RacquetCard, Received, Strung, Waiting
from dialogue.services.records import Records
from dialogue.services.turns import TurnWork
from rules.chain import decide
from rules.facts import Reading
from storage.errors import Conflict, NotFound
from storage.rows import JobStatus, ReadingRole
from storage.unit_of_work import UnitOfWork

STRING_SLOTS = ("mains_material", "crosses_material", "mains_tension", "crosses_tension")


class Stringings(TurnWork):
    """The use cases of counter and bench."""

    def in_the_shop(self, customer_id: int | None, today: dt.date) -> tuple[Waiting, ...]:
        """Return a customer's racquets that were not fetched yet; none for somebody who is not on record."""
        if customer_id is None:
            return ()
        with self.work() as unit:
            records = Records(unit)
            cards = [(card, records.job(card)) for card in records.in_the_shop(customer_id, today)]
            return tuple(Waiting(card, job.promised_on, job.strung_on is not None, job.tag) for card, job in cards)

    def hand_over(self, customer_id: int, today: dt.date) -> tuple[Fetched, ...]:
        """Hand over every racquet of a customer that is strung, and return the story of each one in the shop."""
        with self.work() as unit:
            cards = Records(unit).in_the_shop(customer_id, today)
            counter = self._counter(unit, today)
            return tuple(self._hand_over(unit, counter, card) for card in cards)

    def _hand_over(self, unit: UnitOfWork, counter: Counter, card: RacquetCard) -> Fetched:
        job = Records(unit).job(card)
        if job.strung_on and job.consultation_id is None:
            # Strung before its date was worked out: the label and the "why" need a decision to rest on.
            bench.redate(counter, job.tag)
        outcome = pickup.hand_over(counter, job.tag)
        if isinstance(outcome, Refusal):
            return Fetched(card, (), None, job.promised_on, counter.wording.remark(outcome))
        compared = ""
        if outcome.compared:
            figures = {"before": outcome.compared.before, "after": outcome.compared.after}
            compared = counter.wording.say("hand_over.compared", **figures)
        story = tuple(filter(None, (outcome.done, compared, outcome.label, outcome.foretold, *outcome.cautions)))
        decision = outcome.decision.to_dict() if outcome.decision else None
        return Fetched(card, story, decision, job.promised_on)

    def mark_strung(self, racquet_id: int, today: dt.date) -> Strung | None:
        """Record that the racquet on the bench was strung today; None where it never was brought to be strung."""
        with self.work() as unit:
            records, counter = Records(unit), self._counter(unit, today)
            job = unit.jobs.latest_of(racquet_id)
            if job is None:
                return None
            outcome = bench.log_strung(counter, bench.Strung(tag=job.tag))
            if isinstance(outcome, Refusal):
                return Strung(records.card(racquet_id, today), None, refusal=counter.wording.remark(outcome))
            remarks = tuple(counter.wording.remark(remark) for remark in outcome.remarks)
            return Strung(records.card(racquet_id, today), outcome.decision.to_dict(), remarks)

    def bench(self, today: dt.date) -> tuple[Waiting, ...]:
        """Return what waits to be strung, by promised day."""
        with self.work() as unit:
            records, counter = Records(unit), self._counter(unit, today)
            rows = [row.job for row in bench.list_bench(counter).rows if row.job.status == JobStatus.RECEIVED]
            return tuple(Waiting(records.card(job.racquet_id, today), job.promised_on) for job in rows)

    def label(self, racquet_id: int, today: dt.date) -> Label | None:
        """Return what stands on the label of the strings in a racquet; None where there are none."""
        with self.work() as unit:
            card, job = Records(unit).card(racquet_id, today), customers.strings_in(unit, racquet_id)
            if job is None:
                return None
            counter = self._counter(unit, today)
            found = labels.find_labels(counter, (job.tag,))
            if isinstance(found, Refusal):
                return Label(
                    card, today, about=False, strung_on=today, strings="", refusal=counter.wording.remark(found)
                )
            facts = found.labels[0]
            strings = counter.wording.say("label.strings_at", strings=facts.strings, tension=facts.tension)
            strings = strings if facts.tension else facts.strings
            return Label(replace(card, tag=job.tag), facts.restring_by, facts.about, facts.strung_on, strings)

    def take_back(self, unit_id: str) -> bool:
        """Take back what one turn wrote, and tell whether that was refused because something rests on it by now."""
        with self.work() as unit:
            try:
                unit.undo(unit_id)
            except (Conflict, NotFound):
                return True
            return False

    def log_reading(
        self, racquet_id: int, reading: Any, today: dt.date, *, fresh: bool | None = None, sure: bool = False
    ) -> Logged:
        """Write down a reading and return what it changed: the first one of fresh strings is their baseline.

        Args:
            racquet_id: the racquet that was measured.
            reading: the reading as facts JSON.
            today: the day of the measurement.
            fresh: True where it was said to be the baseline; None leaves it to the strings.
            sure: whether somebody said that a baseline which can hardly be is right.

        Raises:
            ValueRefused: when a figure cannot be.
        """
        facts = self.facts({"reading": reading}, today)
        with self.work() as unit:
            records, counter = Records(unit), self._counter(unit, today)
            card = records.card(racquet_id, today)
            job = customers.strings_in(unit, racquet_id) or unit.jobs.latest_of(racquet_id)
            if job is None:
                return Logged(card, fresh=False, before=None, after=None)
            if fresh is None:
                fresh = job.strung_on == today and not unit.readings.of_job(job.id, ReadingRole.BASELINE)
            role = ReadingRole.BASELINE if fresh else ReadingRole.CHECK
            bed = fresh_bed.bed_on_card(job, unit.racquets.get(racquet_id)) if fresh and not sure else None
            if doubt := fresh_bed.doubt_baseline(bed, facts.reading):
                return Logged(card, fresh, None, None, doubt=doubt.says)
            outcomes = [readings.log_reading(counter, job.tag, role, _measured(entry)) for entry in facts.reading]
            last = outcomes[-1]
            if isinstance(last, Refusal):
                return Logged(card, fresh, None, None, refusal=counter.wording.remark(last))
            remarks = tuple(counter.wording.remark(remark) for remark in last.remarks)
            decisions = [decision.to_dict() if decision else None for decision in (last.before, last.after)]
            return Logged(records.card(racquet_id, today, readings=True), fresh, decisions[0], decisions[1], remarks)

    def take_in(self, customer: Mapping[str, Any], said: Mapping[str, Any], today: dt.date) -> Received:
        """Open a stringing for a racquet left at the counter, once its frame was looked over.

        Args:
            customer: {"customer_id", "name", "phone", "email", "racquet_id"}; numbers are None for those never seen.
            said: {"facts", "frame_check", "promised_on", "consultation"}: facts JSON with the strings wanted, what
                was seen of the frame, the ISO day or None, and the number of the decision taken before or None. It
                may hold "same_as", "crosses_said" (whether other crosses were named beside it), "products",
                "printed_range", "racquet_name", "head_size", "pattern", "gauge", "wish" and "seen_by" too.
            today: the day of the conversation.
        """
        said_facts = said["facts"]
        strings = {name: said_facts[name] for name in STRING_SLOTS if name in said_facts}
        wanted = left.read_drop_off(customer, said, self.facts(strings, today))
        with self.work() as unit:
            counter = self._counter(unit, today)
            if said.get("advised"):
                wanted = replace(wanted, notes=advised_note(counter, said["advised"]))
            outcome = drop_off.take_in(counter, wanted)
            if isinstance(outcome, Refusal):
                sentence = counter.wording.remark(outcome)
                return Received(None, opened=False, refusal=sentence, refused_slot=outcome.fact)
            remarks = tuple(counter.wording.remark(remark) for remark in outcome.remarks)
            records = Records(unit)
            records.learn(outcome.customer.id, self.facts({**said_facts, "unknown": []}, today))
            if customer["customer_id"] is None and left.is_tail(customer.get("phone")):
                unit.customers.change(outcome.customer.id, phone=customer["phone"])
            if said.get("consultation"):
                unit.consultations.link(
                    said["consultation"], customer_id=outcome.customer.id, racquet_id=outcome.racquet.id
                )
            card = records.card(outcome.racquet.id, today)
            return Received(card, opened=outcome.job is not None, remarks=remarks)

    def products(self) -> tuple[Product, ...]:
        """Return what the shop sells, as its catalogue names it."""
        with self.store.glance() as unit:
            rows = unit.catalogue.all()
        return tuple(Product(name=row.product, material=row.material, gauge=_gauge(row.gauge_mm)) for row in rows)

    def look_over(self, raw: Mapping[str, Any], printed: Mapping[str, Any] | None, today: dt.date) -> LookedOver:
        """Return what stands in the way of stringing a racquet so, and what its date will need to be known.

        Args:
            raw: facts JSON with player and strings.
            printed: {"min", "max", "unit"} as printed on the frame, or None where nobody read it.
            today: the day of the conversation.
        """
        facts = self.facts(raw, today)
        outside = None
        if refusal := left.outside_range(facts, printed):
            with self.work() as unit:
                outside = self._counter(unit, today).wording.remark(refusal)
        strung = {name: value for name, value in raw.items() if name not in DATED_FACTS}
        decision = decide(self.facts({**strung, "strung_on": today.isoformat()}, today), self.book)
        needs = tuple(need.fact for need in decision.needs if need.fact in PLAYER_FACTS)
        return LookedOver(outside, needs)


def _gauge(millimetres: float | None) -> str | None:
    return f"{millimetres:.2f}" if millimetres else None


def _measured(entry: Reading) -> readings.Measured:
    return readings.Measured(
        values=entry.values,
        kind=entry.kind.value if entry.kind else None,
        unit=entry.unit,
        instrument=entry.instrument,
        taken_on=entry.taken_on,
        sure=True,  # asked back before
    )
