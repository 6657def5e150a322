"""The services as one object: rules and store behind use cases, one unit of work a turn; words nothing."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from typing import Any

from dialogue.errors import ValueRefused
from dialogue.services.advising import Advising
from dialogue.services.at_need import customers, explaining, forecast_book, foresee, fresh, near_misses, turning, whatif
from dialogue.services.cards import Card, Checked, DueEntry, Foreseen, Moved, RacquetCard
from dialogue.services.lessons import Lessons
from dialogue.services.records import Records
from dialogue.services.stringings import Stringings
from dialogue.translate import absolute_tension
from rules.book_format import OWN
from rules.chain import decide
from rules.decision import Decision, Verdict
from rules.errors import FactRefused
from storage.errors import Conflict
from storage.rows import ConsultationRow, ConversationRow

STRING_SLOTS = ("mains_material", "crosses_material", "mains_tension", "crosses_tension")


class Services(Stringings, Lessons, Advising):
    """Everything the conversation may ask of the shop."""

    moves_dates = True
    """Whether somebody is there who may move a day on record."""

    # Conversations.

    def load(self, sender_id: str) -> ConversationRow:
        """Return a conversation as stored."""
        with self.store.glance() as unit:
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
            return whatif.decide_what_if(self.facts(raw, today), changes, self.book).to_dict()
        except FactRefused as refused:
            raise ValueRefused(refused.fact, refused.message) from refused

    def why_not(self, raw: Mapping[str, Any], today: dt.date, *, sooner: bool) -> tuple[str, ...]:
        """Return, line by line, why it is not "restring now", or why the day is not a later one."""
        facts = self.facts(raw, today)
        if sooner:
            return near_misses.explain_why_not(facts, self.book, Verdict.RESTRING_NOW).lines
        return near_misses.explain_why_not_later(facts, self.book).lines

    def why_not_play_on(self, raw: Mapping[str, Any], today: dt.date) -> tuple[str, ...]:
        """Return, line by line, why it is not "play on"."""
        return near_misses.explain_why_not(self.facts(raw, today), self.book, Verdict.PLAY_ON).lines

    def who_says_so(self, decision: Mapping[str, Any], *, spoken: bool) -> tuple[str, ...]:
        """Return each source of a decision with what rests on it, the numbers but aloud, and advice that differs."""
        told = explaining.Explainer(self.book).who_says_so(decision)
        return tuple(told.data["spoken"]) if spoken else told.lines

    def told_for(self, decision: Mapping[str, Any], depth: str) -> tuple[str, ...]:
        """Return a decision told at one depth: for a customer, a stringer or a trainee."""
        return explaining.Explainer(self.book).depth(decision, depth).lines

    def what_would_change(self, raw: Mapping[str, Any], today: dt.date) -> tuple[str, ...]:
        """Return the smallest changes that would turn the verdict, or else the day, a line each."""
        facts = self.facts(raw, today)
        turns = turning.find_turns(facts, self.book) or turning.find_turns(facts, self.book, turning.Part.DATE)
        return tuple(dict.fromkeys(turn.line for turn in turns))

    def groups(self) -> tuple[str, ...]:
        """Return the groups of players that the shop's own rows read, by its own words; none where no row does."""
        own = self.book.tables.get(OWN)
        if own is None or not any("group" in row.when for row in own.rows):
            return ()
        return tuple(map(str, own.inputs["group"].one_of))

    def foresee(self, raw: Mapping[str, Any], today: dt.date, job_id: int | None) -> Foreseen | None:
        """Return when the strings will have lost so much, or None without a baseline and a check of the same kind.

        Args:
            raw: facts JSON.
            today: the day of the conversation.
            job_id: the stringing's card, whose readings count beside those that were said.
        """
        facts, book = self.facts(raw, today), forecast_book.load_forecast_book()
        if facts.strung_on is None or not facts.baseline:
            return None
        with self.work() as unit:
            found = foresee.foresee_loss(unit, facts, today, job_id)
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
            strung_on=found.strung_on,
            handling=self.book.forecast,
            move_readings=int(book.figures.move_readings.value),
        )

    def estimate(
        self, raw: Mapping[str, Any], today: dt.date, record: Mapping[str, Any] | None
    ) -> dict[str, Any] | None:
        """Return what a reading without a baseline would have lost by an estimate: {"low", "high", "least", "most"}."""
        facts = self.facts(raw, today)
        if facts.baseline or not facts.reading:
            return None
        bed = fresh.bed_of_facts(facts)
        if record and record.get("job_id"):
            with self.work() as unit:
                job = unit.jobs.get(record["job_id"])
                if facts.strung_on and job.strung_on == facts.strung_on.day:
                    bed = fresh.bed_on_card(job, unit.racquets.get(job.racquet_id))
        found = fresh.compare_with_estimate(bed, facts.reading[-1])
        return found.values() if found else None

    def move_date(self, raw: Mapping[str, Any], move: Mapping[str, Any], today: dt.date) -> Moved:
        """Move a stringing's day to the one forecast, as its new label says it, and keep the decision that follows.

        Args:
            raw: facts JSON of the racquet.
            move: {"old", "new", "line", "readings", "record"}: both days, the loss reached then, by how many readings,
                and the racquet's record.
            today: the day of the conversation.
        """
        facts, record = {**raw, "label_due": move["new"]}, move["record"]
        decision = self.decide(facts, today)
        with self.work() as unit:
            counter, job = self._counter(unit, today), unit.jobs.get(record["job_id"])
            old, new = (dt.date.fromisoformat(move[name]) for name in ("old", "new"))
            values = {"day": today, "who": counter.who, "old": old, "new": new, "n": move["readings"]}
            why = counter.wording.say("hand_over.moved", line=move["line"], **values)
            unit.jobs.change(job.id, label_due=new, notes="\n".join(filter(None, (job.notes, why))))
            return Moved(decision, self.consult(facts, decision, today, record))

    def doubt_baseline(self, raw: Mapping[str, Any], today: dt.date) -> str | None:
        """Return why the baseline among facts JSON can hardly be, with what may have been meant; None where it can."""
        try:
            facts = self.facts(raw, today)
        except ValueRefused:
            return None
        doubt = fresh.doubt_baseline(fresh.bed_of_facts(facts), facts.baseline)
        return doubt.says if doubt else None

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
                card = Records(unit).follow(stored, self.facts(raw, today), Decision.from_dict(decision))
                unit.consultations.link(stored.id, job_id=card)
            return stored.id

    # Customers and their racquets.

    def find(self, name: str) -> tuple[Card, ...]:
        """Return who may be meant by a name, the likeliest first."""
        with self.work() as unit:
            return Records(unit).find(name)

    def racquets(self, customer_id: int, today: dt.date) -> tuple[RacquetCard, ...]:
        """Return a customer's racquets with the facts on record."""
        with self.work() as unit:
            return Records(unit).racquets(customer_id, today)

    def open_card(self, name: str, phone: str | None) -> Card:
        """Store a new customer and return the card."""
        with self.work() as unit:
            return Records(unit).open_card(name, phone)

    def forget_contact(self, customer_id: int, wanted: Sequence[str]) -> tuple[str, ...]:
        """Take phone or email off a customer's card and return what stood there."""
        with self.work() as unit:
            return tuple(customers.take_off(unit, customer_id, wanted))

    def keep(self, customer_id: int, racquet: Mapping[str, Any], today: dt.date) -> RacquetCard:
        """Write a racquet that was decided on to a customer's card and return it.

        Args:
            customer_id: whose card it goes on.
            racquet: {"facts", "decision", "consultation", "record", "nickname"} of the racquet.
            today: the day of the conversation.
        """
        with self.work() as unit:
            records, facts = Records(unit), self.facts(racquet["facts"], today)
            racquet_id = records.open_racquet(customer_id, facts, racquet)
            stored = unit.consultations.link(racquet["consultation"], customer_id=customer_id, racquet_id=racquet_id)
            job_id = records.follow(stored, facts, Decision.from_dict(racquet["decision"]))
            unit.consultations.link(stored.id, job_id=job_id)
            return records.card(racquet_id, today)

    def open_racquet(self, customer_id: int, racquet: Mapping[str, Any], today: dt.date) -> RacquetCard:
        """Write a racquet to a customer's card without a decision, where it is not on one yet, and return it.

        Args:
            customer_id: whose card it goes on.
            racquet: {"facts", "record", "nickname"} of the racquet.
            today: the day of the conversation.
        """
        facts = self.facts(racquet["facts"], today)
        with self.work() as unit:
            records = Records(unit)
            return records.card(records.open_racquet(customer_id, facts, racquet), today)

    def due(self, today: dt.date) -> tuple[DueEntry, ...]:
        """Return the racquets whose strings are due this week or overdue, the longest overdue first."""
        with self.work() as unit:
            return Records(unit).due(today)
