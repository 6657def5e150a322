"""Advice at the counter: strings and tension to start from, and a tension at which a changed bed feels the same."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from dialogue.counter.counter import Counter
from dialogue.counter.limits import check_range
from dialogue.counter.outcomes import Outcome, answering, refuse
from dialogue.counter.strings import Side, Strings, read_strings
from dialogue.forecasts.fresh import known_on_card
from dialogue.forecasts.matching import match_beds
from dialogue.translate import customer_facts, printed_range, range_lb, span_lb
from rules.advice import StringAdvice, advise_strings
from rules.facts import Material, Tension
from rules.intake import parse_facts
from rules.same_feel import FeelAdvice
from rules.usual_bed import KnownBed, KnownSide
from storage.errors import NotFound
from storage.rows import RacquetRow, StringJobRow
from storage.unit_of_work import UnitOfWork


@dataclass(frozen=True, kw_only=True)
class BedSaid:
    """What is said of one bed; None is not said."""

    strings: Strings | None = None
    head_size_in2: float | None = None
    pattern: tuple[int, int] | None = None


@dataclass(frozen=True, kw_only=True)
class StringsAdvised(Outcome):
    """Strings and a tension to start from."""

    advice: StringAdvice

    def to_dict(self) -> dict[str, Any]:
        """Return the advice as JSON."""
        return self.advice.to_dict()


@dataclass(frozen=True, kw_only=True)
class TensionMatched(Outcome):
    """A tension to start from for a bed that should feel the same."""

    advice: FeelAdvice = field(repr=False)

    def to_dict(self) -> dict[str, Any]:
        """Return the advice as JSON."""
        return self.advice.to_dict()


@answering
def advise(
    counter: Counter,
    said: Mapping[str, Any],
    printed_lb: tuple[float, float] | None,
    tag: str | None = None,
    customer_id: int | None = None,
) -> StringsAdvised:
    """Return strings and a tension to start from: by what was said, else by the cards of a stringing or a customer.

    Raises:
        NotFound: when no stringing has the tag.
    """
    facts = dict(said)
    if tag:
        with counter.look() as unit:
            _, racquet = _card(unit, tag)
            owner = unit.customers.get(racquet.customer_id) if racquet.customer_id else None
            known = customer_facts(owner) if owner else {}
            facts = {**known, **({"sport": racquet.sport} if racquet.sport else {}), **facts}
            printed_lb = printed_lb or range_lb(printed_range(racquet))
    elif customer_id:
        with counter.look() as unit:
            facts = {**customer_facts(unit.customers.get(customer_id)), **facts}
    parsed = parse_facts(facts, today=counter.today, limits=counter.book.limits)
    advice = advise_strings(parsed, counter.book, span_lb(printed_lb))
    if advice is None:
        raise refuse("no_advice", "strings")
    return StringsAdvised(advice=advice)


@answering
def match_tension(
    counter: Counter, old: BedSaid, new: BedSaid, printed_lb: tuple[float, float] | None = None, tag: str | None = None
) -> TensionMatched:
    """Return the tension at which the new bed should feel like the old one, which may be a stringing's on record.

    Raises:
        NotFound: when no stringing has the tag.
    """
    with counter.look() as unit:
        job, racquet = _card(unit, tag) if tag else (None, RacquetRow())
        before = _known(counter, unit, old, known_on_card(job, racquet))
        other_frame = new.head_size_in2 is not None
        frame = KnownBed(KnownSide(), KnownSide(), machine=before.machine, sport=before.sport)
        if not other_frame:
            frame = replace(frame, head_in2=before.head_in2, pattern=before.pattern)
        same = replace(frame, mains=_unpulled(before.mains), crosses=_unpulled(before.crosses))
        after = _known(counter, unit, new, same if new.strings is None else frame)
    printed_lb = printed_lb or (None if other_frame else range_lb(printed_range(racquet)))
    matched = match_beds(before, after, span_lb(printed_lb), other_frame=other_frame)
    if matched.install:
        raise refuse("physics_missing", "physics", message=matched.install)
    if matched.missing:
        raise refuse(f"feel_needs.{matched.missing[0]}", matched.missing[0])
    if matched.found is None:
        raise refuse("feel_impossible", "strings")
    return TensionMatched(advice=matched.found)


def _card(unit: UnitOfWork, tag: str) -> tuple[StringJobRow, RacquetRow]:
    job = unit.jobs.by_tag(tag)
    if job is None:
        raise NotFound("string_job", tag)
    return job, unit.racquets.get(job.racquet_id)


def _known(counter: Counter, unit: UnitOfWork, said: BedSaid, card: KnownBed) -> KnownBed:
    """Return what is known of a bed: what was said, checked, else what its card says."""
    check_range("head_size_in2", said.head_size_in2)
    for name, count in zip(("mains_count", "crosses_count"), said.pattern or (None, None), strict=True):
        check_range(name, count)
    bed = replace(card, head_in2=said.head_size_in2 or card.head_in2, pattern=said.pattern or card.pattern)
    if said.strings is None:
        return bed
    mains = said.strings.mains
    if mains.material is None and mains.product is None:
        return replace(bed, mains=_over(bed.mains, mains), crosses=_over(bed.crosses, said.strings.crosses or mains))
    read = read_strings(counter, unit, said.strings)
    return replace(bed, mains=_over(KnownSide(), read.mains), crosses=_over(KnownSide(), read.crosses or read.mains))


def _over(card: KnownSide, said: Side) -> KnownSide:
    """Return a side with what was said of it in the place of what its card says."""
    return KnownSide(
        material=Material(said.material) if said.material else card.material,
        pull=Tension(said.tension, said.unit) if said.tension is not None else card.pull,
        gauge_mm=float(said.gauge) if said.gauge else card.gauge_mm,
    )


def _unpulled(side: KnownSide) -> KnownSide:
    """Return the same string before it is pulled."""
    return replace(side, pull=None)
