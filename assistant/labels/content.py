"""What stands on a label, in which order of weight; knows no place and no letter's width."""

from __future__ import annotations

import datetime as dt
from dataclasses import dataclass

from dialogue.counter.labels import LabelFacts
from dialogue.counter.wording import Wording


@dataclass(frozen=True)
class LabelContent:
    """The words of one label."""

    heading: str
    """What the date means; with "about" where it is approximate."""
    date: str
    """The restring-by date: the biggest thing on the label."""
    details: tuple[str, ...]
    """Strings, tension with the fresh reading, date strung."""
    tag: str
    """The job's tag: beside the code in letters, and all that the code holds."""


def write_label(facts: LabelFacts, wording: Wording) -> LabelContent:
    """Return the words of one label."""
    say = wording.say
    baseline = say("label.baseline", baseline=facts.baseline) if facts.baseline else ""
    measured = say("label.separator").join(part for part in (facts.tension, baseline) if part)
    strung = say("label.strung", date=write_date(facts.strung_on, wording))
    return LabelContent(
        heading=say("label.heading_about" if facts.about else "label.heading"),
        date=write_date(facts.restring_by, wording),
        details=tuple(line for line in (facts.strings, measured, strung) if line),
        tag=facts.tag,
    )


def write_date(day: dt.date, wording: Wording) -> str:
    """Return a day with its month in letters, so that nobody reads day for month."""
    return wording.say("label.date", day=day.day, month=wording.say(f"label.months.{day.month}"), year=day.year)
