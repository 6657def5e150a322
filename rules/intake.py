"""The intake of facts: JSON in, checked facts out; says what is wrong with a value and what would do."""

from __future__ import annotations

import calendar
import datetime as dt
import difflib
import math
import re
import reprlib
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from enum import StrEnum
from typing import Any, TypeVar

from dateutil.relativedelta import relativedelta

from rules.errors import FactRefused
from rules.facts import (
    Day,
    Fact,
    Facts,
    Kind,
    Level,
    Limits,
    Material,
    Reading,
    Season,
    Span,
    Sport,
    Symptom,
    Tension,
)

SHOWN_CHARACTERS = 80
LARGEST_SHOWN = 10**15
SAME = "same_as_mains"
GROUP_WORD = r"[a-z][a-z0-9_-]{0,39}"
ISO_DAY = r"[0-9]{4}-[0-9]{2}-[0-9]{2}"
SIDES = {"crosses_material": "mains_material", "crosses_tension": "mains_tension"}
"""The facts of the crosses, each with its fact of the mains."""
Choice = TypeVar("Choice", bound=StrEnum)


def parse_facts(raw: Any, *, today: dt.date, limits: Limits) -> Facts:
    """Return the facts of a JSON object, every value checked against the limits.

    Args:
        raw: facts by name, in the forms that `Facts.to_dict` and the conversation's slots use; None means
            not known. "unknown" lists facts nobody could give, "words" the words they were said in,
            "today" replaces the given day.
        today: the day on which the decision is taken.
        limits: the rulebook's ranges.

    Raises:
        FactRefused: names the fact, the value, and what would be accepted.
    """
    if not isinstance(raw, Mapping):
        raise FactRefused("facts", _short(raw), 'Facts must be one JSON object, for example {"level": "competitive"}.')
    given = dict(raw)
    if given.get("today") is not None:
        today = _exact_day("today", given["today"], limits)
    intake = _Intake(today, limits)
    found: dict[str, Any] = {}
    for name, value in given.items():
        if name in {"today", "unknown", "words"}:
            continue
        if name not in set(Fact):
            raise _refuse_name(str(_short(name)), value)
        if value == SAME and name in SIDES.values():
            raise FactRefused(name, SAME, "Only the crosses can be the same as the mains; name the mains.")
        if value is not None and not (name in SIDES and value == SAME):
            found[name] = PARSERS[Fact(name)](intake, name, value)
    _share_sides(given, found)
    found["unknown"] = _unknown(given.get("unknown"), found)
    found["words"] = _words(given.get("words"))
    return Facts(today=today, **found)


def _refuse_name(name: str, value: Any) -> FactRefused:
    close = difflib.get_close_matches(name, [*Fact, "unknown", "words", "today"], 1)
    hint = f"Did you mean {close[0]}?" if close else f"Known facts: {', '.join(Fact)}."
    return FactRefused(name, _short(value), f"There is no fact called {name}. {hint}")


def _share_sides(given: Mapping[str, Any], found: dict[str, Any]) -> None:
    """Fill in the other side of a full bed, and of crosses said to be the same as the mains."""
    for crosses, mains in SIDES.items():
        if given.get(crosses) == SAME and mains in found:
            found[crosses] = found[mains]
    if given.get("crosses_material") == SAME:
        found.setdefault("hybrid", False)
    if found.get("hybrid") is False:
        for one, other in (("mains_material", "crosses_material"), ("crosses_material", "mains_material")):
            if one in found:
                found.setdefault(other, found[one])


def _unknown(raw: Any, found: Mapping[str, Any]) -> frozenset[str]:
    if raw is None:
        return frozenset()
    if not isinstance(raw, (list, tuple, set, frozenset)) or not all(
        isinstance(name, str) and name in set(Fact) for name in raw
    ):
        raise FactRefused("unknown", _short(raw), "unknown must be a list of fact names that could not be given.")
    return frozenset(str(name) for name in raw if name not in found)


def _words(raw: Any) -> dict[str, str]:
    if raw is None:
        return {}
    if not isinstance(raw, Mapping) or not all(isinstance(text, str) for text in raw.values()):
        raise FactRefused(
            "words", _short(raw), "words must be an object of fact names and the words they were said in."
        )
    return {str(name): text for name, text in raw.items()}


def _short(value: Any) -> Any:
    if isinstance(value, float) and not math.isfinite(value):
        return str(value)
    if isinstance(value, (bool, float)) or value is None:
        return value
    if isinstance(value, int):
        return value if abs(value) < LARGEST_SHOWN else "a number too large to show"
    text = value if isinstance(value, str) else _describe(value)
    return text if len(text) <= SHOWN_CHARACTERS else text[:SHOWN_CHARACTERS] + "..."


def _describe(value: Any) -> str:
    """Return a value as text, however deep or long it is."""
    try:
        return reprlib.repr(value)
    except ValueError:  # a number of thousands of digits somewhere inside
        return f"a {type(value).__name__} too large to show"


def _number(fact: str, value: Any) -> float:
    if isinstance(value, bool) or not isinstance(value, (int, float)):
        raise FactRefused(fact, _short(value), f"{_name(fact)} must be a number, not {_short(value)!r}.")
    try:
        number = float(value)
    except OverflowError:
        number = math.inf
    if not math.isfinite(number):
        raise FactRefused(fact, _short(value), f"{_name(fact)} must be a finite number.")
    return number


def _name(fact: str) -> str:
    return fact.replace("_", " ").capitalize()


def _plain(number: float) -> str:
    return f"{number:g}"


def _again(number: float) -> str:
    """Return the end of a refusal: what is wrong with a figure below zero, and what to do."""
    return ": none lies below zero, so say it again without a minus." if number < 0 else "; say it again."


@dataclass(frozen=True)
class _Intake:
    """Parses one fact after the other for a given day and given limits."""

    today: dt.date
    limits: Limits

    def ranged(self, fact: str, value: Any, limit: str) -> float:
        number = _number(fact, value)
        low, high = self.limits.ranges[limit]
        if not low <= number <= high:
            message = f"{_name(fact)} must be from {_plain(low)} to {_plain(high)}, not {_plain(number)}"
            raise FactRefused(fact, _short(value), f"{message}{_again(number)}")
        return number

    def span(self, fact: str, value: Any) -> Span:
        if isinstance(value, Mapping):
            if set(value) != {"min", "max"}:
                raise FactRefused(fact, _short(value), f'{_name(fact)} must be a number or {{"min": n, "max": n}}.')
            low, high = (self.ranged(fact, value[end], fact) for end in ("min", "max"))
            if low > high:
                raise FactRefused(fact, _short(value), f"{_name(fact)}: the smaller number comes first, as min.")
            return Span(low, high)
        number = self.ranged(fact, value, fact)
        return Span(number, number)

    def truth(self, fact: str, value: Any) -> bool:
        if not isinstance(value, bool):
            raise FactRefused(fact, _short(value), f"{_name(fact)} must be true or false.")
        return value

    def word(self, fact: str, value: Any) -> str:
        if not isinstance(value, str) or not re.fullmatch(GROUP_WORD, value):
            message = f"{_name(fact)} must be a word of small letters that the shop's own rows use, such as junior."
            raise FactRefused(fact, _short(value), message)
        return value

    def tension(self, fact: str, value: Any) -> Tension:
        unit = value.get("unit") if isinstance(value, Mapping) else None
        if not isinstance(value, Mapping) or "value" not in value or unit not in list(POUNDS_PER):
            raise FactRefused(fact, _short(value), f'{_name(fact)} must be {{"value": n, "unit": "lb" or "kg"}}.')
        if set(value) != {"value", "unit"}:
            raise FactRefused(fact, _short(value), f"{_name(fact)} must be a tension of its own, in lb or kg.")
        number = _number(fact, value["value"])
        low, high = self.limits.ranges["tension_lb"]
        factor = POUNDS_PER[unit]
        if not low <= number * factor <= high:
            # Rounded inward, so that a figure at the end of the range shown is taken.
            least, most = math.ceil(10 * low / factor) / 10, math.floor(10 * high / factor) / 10
            shown = f"{_plain(least)} to {_plain(most)} {unit}"
            raise FactRefused(fact, number, f"{_name(fact)} must be {shown}, not {_plain(number)}{_again(number)}")
        return Tension(number, unit)

    def symptoms(self, fact: str, value: Any) -> tuple[Symptom, ...]:
        if not isinstance(value, (list, tuple)):
            raise FactRefused(fact, _short(value), f"Symptoms must be a list of {', '.join(Symptom)}.")
        return tuple(dict.fromkeys(_member(fact, one, Symptom) for one in value))

    def day(self, fact: str, value: Any) -> Day:
        said, approx = (value.get("value"), value.get("approx", False)) if isinstance(value, Mapping) else (value, None)
        if isinstance(value, Mapping) and (not set(value) <= {"value", "approx"} or not isinstance(approx, bool)):
            raise FactRefused(fact, _short(value), f'{_name(fact)} must be a day, or {{"value": day, "approx": true}}.')
        day, exact = self._resolve(fact, said)
        first, last = (int(year) for year in self.limits.ranges["year"])
        if not first <= day.year <= last:
            raise FactRefused(fact, _short(said), f"{_name(fact)} must lie between {first} and {last}.")
        if fact == Fact.STRUNG_ON and day > self.today:
            day = self._in_the_past(fact, str(said), day, exact=exact)
        return Day(day, bool(approx) or not exact, None if exact else str(said))

    def _in_the_past(self, fact: str, said: str, day: dt.date, *, exact: bool) -> dt.date:
        """Return the middle of what is past of a month or year that has not ended."""
        first = day
        if not exact and "P" not in said:
            first = dt.date(day.year, day.month if "-" in said else 1, 1)
        if first > self.today:
            message = f"{said} is still to come: a racquet cannot have been strung after today."
            raise FactRefused(fact, said, message)
        return first + (self.today - first) / 2

    def _resolve(self, fact: str, said: Any) -> tuple[dt.date, bool]:
        """Return the day meant and whether it was named exactly."""
        problem = f"{_name(fact)} must be a day such as 2026-03-14, a month 2026-03, a year, or a span such as -P6M."
        if not isinstance(said, str):
            raise FactRefused(fact, _short(said), problem)
        try:
            if span := re.fullmatch(r"(-?)P([0-9]{1,4})([DWMY])", said):
                step = SPANS[span[3]](int(span[2]))
                return (self.today - step if span[1] else self.today + step), False
            if re.fullmatch(ISO_DAY, said):
                return dt.date.fromisoformat(said), True
            if month := re.fullmatch(r"([0-9]{4})(?:-([0-9]{2}))?", said):
                return self._inside(fact, int(month[1]), int(month[2]) if month[2] else None), False
        except (ValueError, OverflowError) as error:
            raise FactRefused(fact, said, f"{said} is no day of the calendar. {problem}") from error
        raise FactRefused(fact, _short(said), problem)

    def _inside(self, fact: str, year: int, month: int | None) -> dt.date:
        where = self.limits.settings.get(fact, "middle")
        first, last = dt.date(year, month or 1, 1), dt.date(year, month or 12, 1)
        if where == "first":
            return first
        if where == "last":
            return last.replace(day=calendar.monthrange(year, last.month)[1])
        return dt.date(year, month, 15) if month else dt.date(year, 7, 1)

    def readings(self, fact: str, value: Any) -> tuple[Reading, ...]:
        entries = value if isinstance(value, (list, tuple)) else [value]
        if not entries:
            raise FactRefused(fact, "[]", f"{_name(fact)}: name at least one reading, or leave the fact out.")
        self._count(fact, entries)
        return tuple(self._reading(fact, entry) for entry in entries)

    def _count(self, fact: str, readings: Sequence[Any]) -> None:
        most = int(self.limits.ranges["repeats"][1])
        if len(readings) > most:
            raise FactRefused(fact, _short(len(readings)), f"{_name(fact)}: {most} readings are enough; name fewer.")

    def _reading(self, fact: str, value: Any) -> Reading:
        entry = dict(value) if isinstance(value, Mapping) else {"value": value}
        if extra := set(entry) - READING_KEYS:
            known = ", ".join(sorted(READING_KEYS))
            raise FactRefused(fact, _short(value), f"{_name(fact)} knows no {min(map(str, extra))}; use {known}.")
        kind = None if entry.get("kind") is None else _member(fact, entry["kind"], Kind)
        numbers = entry["values"] if "values" in entry else [entry.get("value")]
        if not isinstance(numbers, (list, tuple)) or not numbers or {"value", "values"} <= set(entry):
            raise FactRefused(fact, _short(value), f"{_name(fact)} must hold a number, or values with several.")
        self._count(fact, numbers)
        values = tuple(self.ranged(fact, number, kind or "unnamed_reading") for number in numbers)
        if fact == Fact.BASELINE and min(values) <= 0:
            raise FactRefused(fact, _short(value), "A baseline of 0 cannot be: read it again.")
        taken_on = None if entry.get("taken_on") is None else _exact_day(fact, entry["taken_on"], self.limits)
        if taken_on and taken_on > self.today:
            raise FactRefused(fact, taken_on.isoformat(), f"{_name(fact)}: a reading cannot be from after today.")
        for key in ("unit", "instrument"):
            if entry.get(key) is not None and not isinstance(entry[key], str):
                raise FactRefused(fact, _short(entry[key]), f"{_name(fact)}: {key} must be a word.")
        estimated = self.truth(fact, entry.get("estimated", False))
        return Reading(values, kind, entry.get("unit"), entry.get("instrument"), taken_on, estimated)


def _exact_day(fact: str, value: Any, limits: Limits) -> dt.date:
    first, last = (int(year) for year in limits.ranges["year"])
    message = f"{_name(fact)} must be a day from {first} to {last}, such as 2026-03-14."
    if not isinstance(value, str) or not re.fullmatch(ISO_DAY, value):
        raise FactRefused(fact, _short(value), message)
    try:
        day = dt.date.fromisoformat(value)
    except ValueError as error:
        raise FactRefused(fact, value, message) from error
    if not first <= day.year <= last:
        raise FactRefused(fact, value, message)
    return day


def _member(fact: str, value: Any, choices: type[Choice]) -> Choice:
    if isinstance(value, str):
        try:
            return choices(value)
        except ValueError:
            pass
    raise FactRefused(fact, _short(value), f"{_name(fact)} must be one of {', '.join(choices)}.")


def _choice(choices: type[StrEnum]) -> Callable[[_Intake, str, Any], StrEnum]:
    return lambda _, fact, value: _member(fact, value, choices)


SPANS: Mapping[str, Callable[[int], relativedelta]] = {
    "D": lambda n: relativedelta(days=n),
    "W": lambda n: relativedelta(weeks=n),
    "M": lambda n: relativedelta(months=n),
    "Y": lambda n: relativedelta(years=n),
}
POUNDS_PER = {"lb": 1.0, "kg": 9.80665 / 4.4482216152605}
"""lb per unit; the SI definitions of lbf and kgf."""
READING_KEYS = frozenset({"value", "values", "kind", "unit", "instrument", "taken_on", "estimated"})
PARSERS: Mapping[Fact, Callable[[_Intake, str, Any], Any]] = {
    Fact.LEVEL: _choice(Level),
    Fact.PLAYS_PER_WEEK: _Intake.span,
    Fact.HOURS_PER_PLAY: _Intake.span,
    Fact.HOURS_PER_WEEK: _Intake.span,
    Fact.SEASON: _choice(Season),
    Fact.MAINS_MATERIAL: _choice(Material),
    Fact.CROSSES_MATERIAL: _choice(Material),
    Fact.HYBRID: _Intake.truth,
    Fact.MAINS_TENSION: _Intake.tension,
    Fact.CROSSES_TENSION: _Intake.tension,
    Fact.STRUNG_ON: _Intake.day,
    Fact.LABEL_DUE: _Intake.day,
    Fact.LEAGUE_START: _Intake.day,
    Fact.BASELINE: _Intake.readings,
    Fact.READING: _Intake.readings,
    Fact.BREAKS_STRINGS: _Intake.truth,
    Fact.SYMPTOMS: _Intake.symptoms,
    Fact.SPORT: _choice(Sport),
    Fact.GROUP: _Intake.word,
}
