"""The services as one object: rules and store behind use cases, one unit of work a turn; words nothing."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping, Sequence
from contextlib import ExitStack, contextmanager
from contextvars import ContextVar
from dataclasses import dataclass, field, replace
from typing import Any

from dialogue.counter.bench import redate
from dialogue.counter.counter import Counter
from dialogue.counter.customers import CustomerDraft, strings_in
from dialogue.counter.drop_off import DropOff, take_in
from dialogue.counter.outcomes import Refusal
from dialogue.counter.pickup import hand_over
from dialogue.counter.readings import Measured, log_reading
from dialogue.counter.strings import Side, Strings
from dialogue.errors import ValueRefused
from dialogue.forecasts.foresee import foresee_loss
from dialogue.rulebooks.explaining import Explainer
from dialogue.services.cards import Card, Checked, DueEntry, Fetched, Foreseen, Logged, RacquetCard, Received
from dialogue.services.records import Records
from dialogue.translate import absolute_tension
from rules.chain import decide
from rules.decision import Decision, Verdict
from rules.errors import FactRefused
from rules.facts import Facts, Reading
from rules.forecast_book import load_forecast_book
from rules.intake import parse_facts
from rules.near_misses import explain_why_not, explain_why_not_later
from rules.rulebook import Rulebook
from rules.turning import Part, find_turns
from rules.whatif import decide_what_if
from storage.database import Store
from storage.errors import Conflict, StoreUnusable
from storage.rows import ConsultationRow, ConversationRow, ReadingRole
from storage.unit_of_work import UnitOfWork

STRING_SLOTS = ("mains_material", "crosses_material", "mains_tension", "crosses_tension")


@dataclass
class _Turn:
    """The unit of work of one turn, opened when something is first read or written in it."""

    stack: ExitStack
    unit: UnitOfWork | None = None
    conversation_id: int | None = None
    touched: set[str] = field(default_factory=set)


class Services:
    """Everything the conversation may ask of the shop."""

    def __init__(self, store: Store, book: Rulebook, region: str = "US") -> None:
        self.store = store
        self.book = book
        self.region = region
        """Where a phone number without a country code belongs."""
        self._turn: ContextVar[_Turn | None] = ContextVar("turn", default=None)

    # Units of work.

    @contextmanager
    def turn(self, conversation_id: int | None = None) -> Iterator[None]:
        """Make all services called inside share one unit of work, kept by `save`."""
        with ExitStack() as stack:
            token = self._turn.set(_Turn(stack, conversation_id=conversation_id))
            try:
                yield
            finally:
                self._turn.reset(token)

    @contextmanager
    def work(self) -> Iterator[UnitOfWork]:
        """Give the turn's unit of work, or one of its own that is kept at the end."""
        turn = self._turn.get()
        if turn is None:
            with self.store.unit() as unit:
                yield unit
                unit.commit()
            return
        if turn.unit is None:
            turn.unit = turn.stack.enter_context(self.store.unit())
        yield turn.unit

    def trouble(self, error: Exception) -> str | None:
        """Return what is wrong with the database and what to do about it, or None for any other error."""
        return error.message if isinstance(error, StoreUnusable) else None

    # Conversations.

    def load(self, sender_id: str) -> ConversationRow:
        """Return a conversation as stored."""
        with self.store.view() as unit:
            return unit.conversations.load(sender_id)

    def save(self, row: ConversationRow, events: Sequence[Mapping[str, Any]], customer_id: int | None) -> bool:
        """Keep a conversation and all that its turn did; tell whether nobody else took a turn meanwhile."""
        with self.work() as unit:
            changed = ConversationRow(
                id=row.id,
                sender_id=row.sender_id,
                customer_id=customer_id,
                events=tuple(events),
                version=row.version,
            )
            try:
                unit.conversations.save(changed)
            except Conflict:
                return False
            unit.commit()
            return True

    # The rules.

    def facts(self, raw: Mapping[str, Any], today: dt.date) -> Facts:
        """Return facts JSON as facts.

        Raises:
            ValueRefused: when a value cannot be; so do all that read facts.
        """
        try:
            return parse_facts(raw, today=today, limits=self.book.limits)
        except FactRefused as refused:
            raise ValueRefused(refused.fact, refused.message) from refused

    def shown(self, raw: Mapping[str, Any], today: dt.date) -> dict[str, Any]:
        """Return facts JSON with every value as the rules read it."""
        return self.facts(raw, today).to_dict()

    def check(self, slot: str, value: Any, today: dt.date) -> Checked:
        """Return one value as it is kept, or what is wrong with it."""
        try:
            return Checked(self.settled(slot, value, today))
        except ValueRefused as refused:
            return Checked(None, refused.message)

    def settled(self, slot: str, value: Any, today: dt.date) -> Any:
        """Return one value as it is kept: spans of time as days, figures as numbers."""
        return self.facts({slot: value}, today).to_dict().get(slot, value)

    def day(self, value: Any, today: dt.date) -> str | None:
        """Return the day that a date means, as ISO text, or None where it cannot be."""
        try:
            meant = self.facts({"league_start": value}, today).league_start
        except ValueRefused:
            return None
        return meant.day.isoformat() if meant else None

    @staticmethod
    def absolute(value: Mapping[str, Any], mains: Mapping[str, Any] | None) -> dict[str, Any] | None:
        """Return a tension said relative to the mains as a tension of its own; None while the mains are not known."""
        return absolute_tension(value, mains)

    def decide(self, raw: Mapping[str, Any], today: dt.date) -> dict[str, Any]:
        """Return the decision on facts JSON, as JSON."""
        return decide(self.facts(raw, today), self.book).to_dict()

    def what_if(self, raw: Mapping[str, Any], changes: Mapping[str, Any], today: dt.date) -> dict[str, Any]:
        """Return the decision there would be with some facts changed, as JSON; nothing is kept."""
        try:
            return decide_what_if(self.facts(raw, today), changes, self.book).to_dict()
        except FactRefused as refused:
            raise ValueRefused(refused.fact, refused.message) from refused

    def why_not(self, raw: Mapping[str, Any], today: dt.date, *, sooner: bool) -> tuple[str, ...]:
        """Return, line by line, why it is not "restring now", or why the day is not a later one."""
        facts = self.facts(raw, today)
        if sooner:
            return explain_why_not(facts, self.book, Verdict.RESTRING_NOW).lines
        return explain_why_not_later(facts, self.book).lines

    def why_not_play_on(self, raw: Mapping[str, Any], today: dt.date) -> tuple[str, ...]:
        """Return, line by line, why it is not "play on"."""
        return explain_why_not(self.facts(raw, today), self.book, Verdict.PLAY_ON).lines

    def who_says_so(self, decision: Mapping[str, Any]) -> tuple[str, ...]:
        """Return the sources of a decision row by row, and published advice that differs."""
        return Explainer(self.book).who_says_so(decision).lines

    def told_for(self, decision: Mapping[str, Any], depth: str) -> tuple[str, ...]:
        """Return a decision told at one depth: for a customer, a stringer or a trainee."""
        return Explainer(self.book).depth(decision, depth).lines

    def what_would_change(self, raw: Mapping[str, Any], today: dt.date) -> tuple[str, ...]:
        """Return the smallest changes that would turn the verdict, or else the day, a line each."""
        facts = self.facts(raw, today)
        turns = find_turns(facts, self.book) or find_turns(facts, self.book, Part.DATE)
        return tuple(turn.line for turn in turns)

    def foresee(self, raw: Mapping[str, Any], today: dt.date, job_id: int | None) -> Foreseen | None:
        """Return when the strings will have lost so much, or None without a baseline and a check of the same kind.

        Args:
            raw: facts JSON.
            today: the day of the conversation.
            job_id: the stringing's card, whose readings count beside those that were said.
        """
        facts, book = self.facts(raw, today), load_forecast_book()
        if facts.strung_on is None or not facts.baseline:
            return None
        with self.work() as unit:
            found = foresee_loss(unit, facts, today, job_id)
        if found is None or not found.readings:
            return None
        reach = found.reach(book.figures.told_line_percent.value)
        if reach is None:
            return None
        return Foreseen(
            today=today,
            line_percent=reach.line_percent,
            earliest=reach.earliest,
            expected=reach.expected,
            latest=reach.latest,
            horizon=found.strung_on + dt.timedelta(days=int(book.figures.horizon_days.value)),
            readings=found.readings,
            prior_percent=100 * found.rests_on_prior,
            label_due=facts.label_due.day if facts.label_due else None,
            apart_days=int(book.figures.apart_days.value),
        )

    # Consultations.

    def consult(
        self, raw: Mapping[str, Any], decision: Mapping[str, Any], today: dt.date, record: Mapping[str, Any] | None
    ) -> int:
        """Store a decision with its facts and return its number; a known racquet's card follows it."""
        turn = self._turn.get()
        links = record or {}
        with self.work() as unit:
            unit.rulebooks.keep(self.book.hash, self.book.text)
            row = ConsultationRow(
                customer_id=links.get("customer_id"),
                racquet_id=links.get("racquet_id"),
                job_id=links.get("job_id"),
                conversation_id=turn.conversation_id if turn else None,
                today=today,
                facts=self.shown(raw, today),
                decision=decision,
                rulebook=decision["rulebook"],
            )
            stored = unit.consultations.add(row)
            if stored.racquet_id:
                card = self._records(unit).follow(stored, self.facts(raw, today), Decision.from_dict(decision))
                unit.consultations.link(stored.id, job_id=card)
            return stored.id

    # Customers and their racquets.

    def find(self, name: str) -> tuple[Card, ...]:
        """Return who may be meant by a name, the likeliest first."""
        with self.work() as unit:
            return self._records(unit).find(name)

    def racquets(self, customer_id: int, today: dt.date) -> tuple[RacquetCard, ...]:
        """Return a customer's racquets with the facts on record."""
        with self.work() as unit:
            return self._records(unit).racquets(customer_id, today)

    def open_card(self, name: str, phone: str | None) -> Card:
        """Store a new customer and return the card."""
        with self.work() as unit:
            return self._records(unit).open_card(name, phone)

    def keep(self, customer_id: int, racquet: Mapping[str, Any], today: dt.date) -> RacquetCard:
        """Write a racquet that was decided on to a customer's card and return it.

        Args:
            customer_id: whose card it goes on.
            racquet: {"facts", "decision", "consultation", "record", "nickname"} of the racquet.
            today: the day of the conversation.
        """
        facts = self.facts(racquet["facts"], today)
        with self.work() as unit:
            records = self._records(unit)
            racquet_id = (racquet.get("record") or {}).get("racquet_id") or records.new_racquet(
                customer_id, facts, racquet.get("nickname")
            )
            stored = unit.consultations.link(racquet["consultation"], customer_id=customer_id, racquet_id=racquet_id)
            job_id = records.follow(stored, facts, Decision.from_dict(racquet["decision"]))
            unit.consultations.link(stored.id, job_id=job_id)
            records.learn(customer_id, facts)
            return records.card(racquet_id, today)

    # Stringings.

    def hand_over(self, customer_id: int, today: dt.date) -> tuple[Fetched, ...]:
        """Hand over every racquet of a customer that is strung, and return the story of each one in the shop."""
        with self.work() as unit:
            cards = self._records(unit).in_the_shop(customer_id, today)
            counter = self._counter(unit, today)
            return tuple(self._hand_over(unit, counter, card) for card in cards)

    def _hand_over(self, unit: UnitOfWork, counter: Counter, card: RacquetCard) -> Fetched:
        job = self._records(unit).job(card)
        if job.strung_on and job.consultation_id is None:
            # Strung before its date was worked out: the label and the "why" need a decision to rest on.
            redate(counter, job.tag)
        outcome = hand_over(counter, job.tag)
        if isinstance(outcome, Refusal):
            return Fetched(card, (), None, job.promised_on, counter.wording.remark(outcome))
        story = (outcome.done, outcome.label, *outcome.cautions)
        decision = outcome.decision.to_dict() if outcome.decision else None
        return Fetched(card, story, decision, job.promised_on)

    def log_reading(self, racquet_id: int, reading: Any, today: dt.date) -> Logged:
        """Write down a reading and return what it changed: the first one of fresh strings is their baseline.

        Args:
            racquet_id: the racquet that was measured.
            reading: the reading as facts JSON.
            today: the day of the measurement.

        Raises:
            ValueRefused: when a figure cannot be.
        """
        facts = self.facts({"reading": reading}, today)
        with self.work() as unit:
            records, counter = self._records(unit), self._counter(unit, today)
            card = records.card(racquet_id, today)
            job = strings_in(unit, racquet_id) or unit.jobs.latest_of(racquet_id)
            if job is None:
                return Logged(card, fresh=False, before=None, after=None)
            fresh = job.strung_on == today and not unit.readings.of_job(job.id, ReadingRole.BASELINE)
            role = ReadingRole.BASELINE if fresh else ReadingRole.CHECK
            outcomes = [log_reading(counter, job.tag, role, _measured(entry)) for entry in facts.reading]
            last = outcomes[-1]
            if isinstance(last, Refusal):
                return Logged(card, fresh, None, None, refusal=counter.wording.remark(last))
            remarks = tuple(counter.wording.remark(remark) for remark in last.remarks)
            decisions = [decision.to_dict() if decision else None for decision in (last.before, last.after)]
            return Logged(records.card(racquet_id, today, readings=True), fresh, decisions[0], decisions[1], remarks)

    def take_in(self, customer: Mapping[str, Any], said: Mapping[str, Any], today: dt.date) -> Received:
        """Open a stringing for a racquet left at the counter, once its frame was looked over.

        Args:
            customer: {"customer_id", "name", "phone", "racquet_id"}; numbers are None for those never seen.
            said: {"facts", "frame_check", "promised_on", "consultation"}: facts JSON with the strings wanted, what
                was seen of the frame, the ISO day or None, and the number of the decision taken before or None.
            today: the day of the conversation.
        """
        day, said_facts = said.get("promised_on"), said["facts"]
        strings = {name: said_facts[name] for name in STRING_SLOTS if name in said_facts}
        draft = None
        if customer["customer_id"] is None:
            draft = CustomerDraft(name=customer["name"], phone=customer.get("phone"))
        wanted = DropOff(
            customer_id=customer["customer_id"],
            new_customer=draft,
            racquet_id=customer.get("racquet_id"),
            frame_check=said["frame_check"],
            strings=_strings(self.facts(strings, today)),
            promised_on=dt.date.fromisoformat(day) if day else None,
        )
        with self.work() as unit:
            counter = self._counter(unit, today)
            outcome = take_in(counter, wanted)
            if isinstance(outcome, Refusal):
                sentence = counter.wording.remark(outcome)
                return Received(None, opened=False, refusal=sentence, refused_slot=outcome.fact)
            remarks = tuple(counter.wording.remark(remark) for remark in outcome.remarks)
            records = self._records(unit)
            records.learn(outcome.customer.id, self.facts({**said_facts, "unknown": []}, today))
            if said.get("consultation"):
                unit.consultations.link(
                    said["consultation"], customer_id=outcome.customer.id, racquet_id=outcome.racquet.id
                )
            card = records.card(outcome.racquet.id, today)
            return Received(card, opened=outcome.job is not None, remarks=remarks)

    def due(self, today: dt.date) -> tuple[DueEntry, ...]:
        """Return the racquets whose strings are due this week or overdue, the longest overdue first."""
        with self.work() as unit:
            return self._records(unit).due(today)

    def _records(self, unit: UnitOfWork) -> Records:
        return Records(unit)

    def _counter(self, unit: UnitOfWork, today: dt.date) -> Counter:
        return Counter(self.store, self.book, today, region=self.region, unit=unit)


def _measured(entry: Reading) -> Measured:
    return Measured(
        values=entry.values,
        kind=entry.kind.value if entry.kind else None,
        unit=entry.unit,
        instrument=entry.instrument,
        taken_on=entry.taken_on,
    )


def _strings(facts: Facts) -> Strings | None:
    mains, crosses = (_side(facts, side) for side in ("mains", "crosses"))
    return Strings(mains=mains, crosses=None if crosses == Side() else crosses) if mains.material else None


def _side(facts: Facts, side: str) -> Side:
    material, tension = getattr(facts, f"{side}_material"), getattr(facts, f"{side}_tension")
    side_ = Side(material=material.value if material else None)
    return replace(side_, tension=tension.value, unit=tension.unit) if tension else side_
