"""What a label needs to know of a stringing; lays nothing out."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from dialogue.counter.bench import the_job
from dialogue.counter.counter import Counter
from dialogue.counter.evidence import open_case
from dialogue.counter.outcomes import Outcome, answering, refuse
from dialogue.counter.pickup import name_strings
from dialogue.counter.readings import middle
from dialogue.forecasts.foretold import Foretold, foretell
from storage.rows import JobStatus, ReadingRole, StringJobRow
from storage.unit_of_work import UnitOfWork


@dataclass(frozen=True, kw_only=True)
class LabelFacts(Outcome):
    """What stands on one label."""

    tag: str
    restring_by: dt.date
    about: bool
    """True where the date is approximate."""
    strung_on: dt.date
    strings: str
    tension: str
    """"54 lb", or "50/48 lb" for mains and crosses; empty where it is not known."""
    baseline: str
    """The mean of the fresh reading with the word of its instrument; empty where there is none."""
    foretold: Foretold | None = None
    """What the readings of this stringing say, beside the day on the label; it is not printed."""


@dataclass(frozen=True, kw_only=True)
class Labels(Outcome):
    """Labels to print."""

    labels: tuple[LabelFacts, ...]


@answering
def find_labels(counter: Counter, tags: tuple[str, ...] = (), *, bench: bool = False) -> Labels:
    """Return what stands on the labels of these stringings, or of all that are strung and not fetched.

    Raises:
        NotFound: when no stringing bears one of the tags.
    """
    with counter.look() as unit:
        jobs = [the_job(unit, tag) for tag in tags]
        if bench:
            jobs += [job for job in unit.jobs.bench() if job.status != JobStatus.RECEIVED and job.restring_by]
        if not jobs:
            raise refuse("no_labels", "tag")
        return Labels(labels=tuple(_facts(counter, unit, job) for job in jobs))


def _facts(counter: Counter, unit: UnitOfWork, job: StringJobRow) -> LabelFacts:
    if job.strung_on is None:
        raise refuse("not_strung", "tag", tag=job.tag)
    if job.restring_by is None:
        raise refuse("no_date", "restring_by", because=job.tag)
    return LabelFacts(
        tag=job.tag,
        restring_by=job.restring_by,
        about=job.approximate,
        strung_on=job.strung_on,
        strings=_strings(counter, job),
        tension=_tension(counter, job),
        baseline=_baseline(counter, unit, job),
        foretold=foretell(counter, unit, open_case(unit, job)),
    )


def _strings(counter: Counter, job: StringJobRow) -> str:
    mains, crosses = (name_strings(counter, job, side) for side in ("mains", "crosses"))
    if crosses in ("", mains):
        return mains
    return counter.wording.say("label.hybrid", mains=mains, crosses=crosses)


def _tension(counter: Counter, job: StringJobRow) -> str:
    say = counter.wording.say
    if job.mains_tension is None:
        return ""
    unit = job.mains_tension_unit or "lb"
    alike = job.crosses_tension in (None, job.mains_tension) and job.crosses_tension_unit in (None, unit)
    if alike:
        return say("label.tension", tension=float(job.mains_tension), unit=unit)
    return say(
        "label.tensions",
        mains=float(job.mains_tension),
        crosses=float(job.crosses_tension or 0),
        mains_unit="" if job.crosses_tension_unit == unit else f" {unit}",
        unit=job.crosses_tension_unit or unit,
    )


def _baseline(counter: Counter, unit: UnitOfWork, job: StringJobRow) -> str:
    fresh = unit.readings.of_job(job.id, ReadingRole.BASELINE)
    if not fresh:
        return ""
    figure = middle(fresh[-1], 1)
    return counter.wording.say(f"label.baseline_{fresh[-1].kind or 'unnamed'}", figure=figure)
