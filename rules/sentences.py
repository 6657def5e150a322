"""Words for values inside the rulebook's sentences; the words themselves stand in book/words.yaml."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from rules.facts import Day, Reading, Span

DAYS_A_MONTH = 30.436875
"""Mean length of a Gregorian month: 146,097 days in 4,800 months."""
LONGEST_OVERDUE_IN_DAYS = 45
MOST_PLACES = 8


@dataclass(frozen=True)
class Words:
    """Speaks numbers, days and spans in the words of one rulebook."""

    words: Mapping[str, Any]

    def number(self, value: float | Fraction) -> str:
        """Return a number as people write it: words up to twelve, no trailing zeros."""
        number = float(value)
        names = self.words["numbers"]
        if number == int(number) and 0 <= number < len(names):
            return str(names[int(number)])
        return f"{number:.10g}"

    def decimal(self, value: float | Fraction, places: int = 1) -> str:
        """Return a figure with so many places at most."""
        return f"{round(float(value), places):.10g}"

    def figure(self, value: float | Fraction, lines: Iterable[float]) -> str:
        """Return a figure with as few places as keep it on its own side of every line.

        A loss of 9.999 % is told as "9.999", for "10" would name the line it has not reached.
        """
        sides = [(line, _side(value, line)) for line in lines]
        shown = ""
        for places in range(1, MOST_PLACES + 1):
            shown = self.decimal(value, places)
            if all(_side(Fraction(shown), line) == side for line, side in sides):
                break
        return shown

    def term(self, value: str) -> str:
        """Return the word of the trade for an internal name."""
        return str(self.words["terms"].get(value, value.replace("_", " ")))

    def terms(self, values: Iterable[str]) -> str:
        """Return several terms, separated by commas."""
        return ", ".join(self.term(value) for value in values)

    def date(self, day: dt.date) -> str:
        """Return a day as "3 December 2026"."""
        month = self.words["months"][day.month - 1]
        return str(self.words["date"].format(day=day.day, month=month, year=day.year))

    def day(self, day: Day) -> str:
        """Return a day as it was said: exact, as its month or year, or with "about"."""
        if not day.approx:
            return self.date(day.day)
        if day.named and "-" in day.named:
            return f"{self.words['months'][day.day.month - 1]} {day.day.year}"
        return day.named or self.about(self.date(day.day))

    def when(self, day: Day) -> str:
        """Return a day with its preposition: "on 3 December 2026", "in March 2026", "about ..."."""
        if not day.approx:
            return str(self.words["on_day"].format(text=self.date(day.day)))
        return str(self.words["in_month"].format(text=self.day(day))) if day.named else self.day(day)

    def about(self, text: str) -> str:
        """Return the text marked as approximate."""
        return str(self.words["about"].format(text=text))

    def plays(self, span: Span) -> str:
        """Return how often somebody plays a week: "twice", "2 to 3 times"."""
        times = self.words["times"]
        if span.low == span.high:
            return str(times.get(f"{span.low:g}", times["other"].format(n=f"{span.low:g}")))
        text = self.words["span"].format(low=f"{span.low:g}", high=f"{span.high:g}")
        return str(times["other"].format(n=text))

    def reading(self, reading: Reading) -> str:
        """Return a reading's figure as it was read, or the mean of its repeats."""
        if len(reading.values) == 1:
            return f"{reading.values[0]:.10g}"
        return self.decimal(sum(reading.values) / len(reading.values), 2)

    def every(self, low: Fraction, high: Fraction) -> str:
        """Return an interval in months as people say it."""
        every = self.words["every"]
        if low != high:
            return str(every["range"].format(low=self._months(low), high=self._months(high)))
        if low == 1:
            return str(every["month"])
        if low == 12:  # noqa: PLR2004 - a year has twelve months
            return str(every["year"])
        if low.denominator == 1:
            return str(every["months"].format(n=self.number(low)))
        weeks = round(float(low) * DAYS_A_MONTH / 7)
        return str(every["weeks"].format(n=self.number(max(weeks, 1))))

    def _months(self, months: Fraction) -> str:
        return self.number(months) if months.denominator == 1 else self.decimal(months)

    def league(self) -> str:
        """Return the interval of a league player."""
        return str(self.words["every"]["league"])

    def overdue(self, since: dt.date, today: dt.date) -> str:
        """Return for how long a date has passed."""
        days = (today - since).days
        if days <= LONGEST_OVERDUE_IN_DAYS:
            return str(self.words["overdue_day"] if days == 1 else self.words["overdue_days"].format(n=days))
        months = round(days / DAYS_A_MONTH)
        if months == 1:
            return str(self.words["overdue_month"])
        return str(self.words["overdue_months"].format(n=self.number(months)))


def _side(value: float | Fraction, line: float) -> int:
    return (value > line) - (value < line)
