"""Advice on strings and tension out of the rulebook, as the conversation keeps it; words nothing."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from dialogue.counter.counter import Counter
from dialogue.counter.limits import figure
from dialogue.racquets import STRING_FACTS
from dialogue.services.at_need import advice, advice_why, customers, matching
from dialogue.services.turns import TurnWork
from dialogue.translate import job_facts, printed_range, range_lb, span_lb
from rules.facts import Material
from storage.rows import StringJobRow
from storage.unit_of_work import UnitOfWork


class Advising(TurnWork):
    """The use cases of somebody who does not know which strings to take."""

    advises_figures = True
    """Whether a tension is advised as one figure; else as a range to be talked over with the stringer."""

    def advise(
        self, raw: Mapping[str, Any], printed: Mapping[str, Any] | None, today: dt.date, *, wanted: bool
    ) -> dict[str, Any] | None:
        """Return the advice of the rulebook as JSON, or None where it gives none.

        Args:
            raw: facts JSON of player and strings.
            printed: {"min", "max", "unit"} as printed on the frame, or None where nobody read it.
            today: the day of the conversation.
            wanted: whether the strings among the facts are those that are to go in, so that only the tension is open.
        """
        kept = raw if wanted else {name: value for name, value in raw.items() if name not in STRING_FACTS}
        advised = advice.advise_strings(self.facts(kept, today), self.book, span_lb(range_lb(printed)))
        return advised.to_dict() if advised else None

    def why_not_advised(self, raw: Mapping[str, Any], today: dt.date, material: str) -> tuple[str, ...]:
        """Return, line by line, why other strings were not advised."""
        return advice_why.explain_not_advised(self.facts(raw, today), self.book, Material(material))

    def felt_before(self, record: Mapping[str, Any] | None, *, other: bool) -> dict[str, Any] | None:
        """Return the stringing on record that a new one is to feel like; None where there is none.

        Args:
            record: whose racquet it is, as the conversation keeps it.
            other: whether another racquet's is meant, where there is one.

        Returns:
            {"job_id", "racquet_id", "racquet", "facts"}: its card and what it tells, as facts JSON.
        """
        if not record or not record.get("customer_id"):
            return None
        with self.work() as unit:
            racquet_id = record.get("racquet_id")
            own = _own(unit, racquet_id) if racquet_id else None
            job = own if own and not other else _latest(unit, record["customer_id"], racquet_id) or own
            if job is None:
                return None
            racquet = unit.racquets.get(job.racquet_id)
            facts = {name: value for name, value in job_facts(job, ()).items() if name in STRING_FACTS}
            return {"job_id": job.id, "racquet_id": racquet.id, "racquet": racquet.nickname or "", "facts": facts}

    def match_feel(
        self, feel: Mapping[str, Any], printed: Mapping[str, Any] | None, given_up: Sequence[str]
    ) -> dict[str, Any]:
        """Return the tension at which two beds feel the same, as JSON: {"missing", "install", "found"}.

        Args:
            feel: {"old", "new", "frame", "job_id", "racquet_id"}: what was said of both beds, whether the frame is
                another one, the card of the strings that felt right, and the racquet that is to be strung.
            printed: the range printed on the new frame, or None where nobody read it.
            given_up: what nobody can say.
        """
        with self.work() as unit:
            job = unit.jobs.get(feel["job_id"]) if feel["job_id"] else None
            before = unit.racquets.get(job.racquet_id) if job else None
            after = unit.racquets.get(feel["racquet_id"]) if feel["racquet_id"] else None
            old = matching.known_bed(feel["old"], job, before)
            new = matching.known_bed(
                {name: value for name, value in feel["new"].items() if name != "same"}, None, after
            )
            printed = printed or (printed_range(after) if after else None)
        if feel["new"].get("same"):
            mains, crosses = (replace(side, pull=None) for side in (old.mains, old.crosses))
            gauge = feel["new"].get("gauge")
            new = replace(new, mains=replace(mains, gauge_mm=gauge or mains.gauge_mm), crosses=crosses)
        given = frozenset(given_up)
        return _as_json(
            matching.match_beds(old, new, span_lb(range_lb(printed)), other_frame=feel["frame"], given_up=given)
        )


def _latest(unit: UnitOfWork, customer_id: int, but: int | None) -> StringJobRow | None:
    """Return a customer's stringing that was put on last, of another racquet than the one left."""
    jobs = (customers.strings_in(unit, row.id) for row in unit.racquets.of_customer(customer_id) if row.id != but)
    known = [job for job in jobs if job and job.mains_material]
    return max(known, key=lambda job: job.strung_on or dt.date.min, default=None)


def _own(unit: UnitOfWork, racquet_id: int) -> StringJobRow | None:
    job = customers.strings_in(unit, racquet_id)
    return job if job and job.mains_material else None


def _as_json(matched: matching.Matched) -> dict[str, Any]:
    """Return what was found of two beds as the conversation keeps it."""
    if matched.found is None:
        return {"missing": list(matched.missing), "install": matched.install, "found": None}
    advice, mains, crosses = matched.found.advice, matched.new.mains, matched.new.crosses
    pulls = {name: getattr(advice, name).to_json() for name in ("mains", "crosses", "low", "high")}
    materials = (mains.material, crosses.material or mains.material)
    strings = dict(
        zip(("mains_material", "crosses_material"), (each and each.value for each in materials), strict=True)
    )
    found = matched.found
    told = {"matched": found.matched, "says": list(found.says), "source": found.source, "assumed": list(found.assumed)}
    return {"missing": [], "install": None, "found": {**pulls, **strings, **told}}


def advised_note(counter: Counter, sentences: Sequence[str]) -> str:
    """Return the note on a card that its strings were advised, with as many of the reasons as it holds."""
    for kept in range(len(sentences), 0, -1):
        values = {"day": counter.today, "who": counter.who, "says": " ".join(sentences[:kept])}
        note = counter.wording.say("hand_over.advised", **values)
        if len(note) <= figure("text_characters"):
            return note
    return counter.wording.say("hand_over.advised_bare", day=counter.today, who=counter.who)
