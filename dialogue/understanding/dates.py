"""Finds dates in a line and says what each is the date of; turning words into a day is not its work."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from dialogue.understanding.cuebook import CUE_FOLDER, Hit, Row, read_cues
from dialogue.understanding.cues import Scan
from dialogue.understanding.date_forms import FUTURE, NEAR, PAST, Dated, Names, Sight, read_date
from dialogue.understanding.found import Found
from dialogue.understanding.lines import STOPS
from dialogue.understanding.templates import Compiler

DIRECTIONS = {"strung_on": PAST, "league_start": FUTURE, "label_due": NEAR}
NOTHING = "none"
"""An anchor that tells of the purchase or of a reading: its date is for no slot."""
OTHER = "other"
"""An anchor that tells of something else, which only counts where no date was asked for."""
CLAUSE_COST = 4
FARTHEST = 14
CLOSE = 5
PAST_READERS = frozenset({"ago", "ago_fortnight", "had_for"})
WEAK_READERS = frozenset({"span", "month_bare", "slashed_pair"})
"""Ways to name a date that are dates only near a word that says of what, or when asked."""


@dataclass(frozen=True)
class DateWords:
    """The date file: names of the calendar, and its anchors and holidays as rows."""

    names: Names
    rows: tuple[Row, ...]


def read_date_words(compiler: Compiler, folder: Path = CUE_FOLDER) -> DateWords:
    """Return the calendar's names and the rows that the date file adds to its plain ones."""
    table = read_cues("dates.yaml", folder)
    holidays = {says: rule for rule in table["holidays"] for says in rule["says"]}
    names = Names(
        table["months"], table["weekdays"], table["seasons"], table["which"], table["nth"],
        table["names"]["last_year"], table["names"]["last_month"], holidays, tuple(table["two_digit_years"]),
    )  # fmt: skip
    rows = [
        Row(f"date.{raw['id']}", "dates.yaml", "date", tuple(compiler.compile(says) for says in raw["says"]),
            value=raw["slot"], role="anchor")
        for raw in table["anchors"]
    ]  # fmt: skip
    rows += [
        Row("date.holiday", "dates.yaml", "date", tuple(compiler.compile(says) for says in (
            "<@holiday>", "<@holiday> <year>", "<@which> <@holiday>", "<@holiday> <@last_year>")), reads="holiday"),
    ]  # fmt: skip
    rows += [
        Row(f"date.{raw['id']}", "dates.yaml", "date", tuple(compiler.compile(says) for says in raw["says"]), role="vague",
            asked=frozenset(DIRECTIONS))
        for raw in table["vague"]
    ]  # fmt: skip
    return DateWords(names, tuple(rows))


def date_lists(folder: Path = CUE_FOLDER) -> dict[str, Sequence[str]]:
    """Return the word lists of the date file."""
    table = read_cues("dates.yaml", folder)
    lists: dict[str, Sequence[str]] = dict(table["lists"])
    lists["nth"] = list(table["nth"])
    lists.update({name: list(words) for name, words in table["names"].items()})
    lists["holiday"] = [says for rule in table["holidays"] for says in rule["says"]]
    return lists


@dataclass(frozen=True)
class DatesRead:
    """The dates of a line and the questions they raise."""

    found: tuple[Found, ...]
    impossible: tuple[str, ...] = ()
    """Slots for which a day was named that does not exist."""


def read_dates(scan: Scan, settled: Sequence[Hit], names: Names, today: dt.date) -> DatesRead:
    """Return a candidate for every date that belongs to a slot."""
    anchors = [hit for hit in scan.hits.get("date", ()) if hit.row.role == "anchor"]
    found: list[Found] = []
    impossible: list[str] = []
    for hit in settled:
        if hit.row.slot != "date" or hit.row.role != "value":
            continue
        slot = _slot_of(scan, hit, anchors)
        if slot is None or scan.blocked(slot, hit.span):
            continue
        dated = read_date(hit, Sight(today, DIRECTIONS[slot], names))
        if dated is None:
            continue
        if dated.value is None:
            impossible.append(slot)
            continue
        found.append(
            Found(slot, dated.value, hit.span, hit.row.id, hit.row.confidence, _readback(slot, dated, today))
        )
    return DatesRead(tuple(found), tuple(dict.fromkeys(impossible)))


def _readback(slot: str, dated: Dated, today: dt.date) -> str | None:
    if dated.readback:
        return dated.readback
    year = str((dated.value or {}).get("value", ""))[:4]
    if slot != "strung_on" and year.isdigit() and int(year) != today.year:
        return "year_moved"
    return None


def _slot_of(scan: Scan, hit: Hit, anchors: Sequence[Hit]) -> str | None:
    ranked = sorted(((_distance(scan, anchor, hit), str(anchor.row.value)) for anchor in anchors), key=lambda pair: pair[0])
    nearest = [(distance, slot) for distance, slot in ranked if distance <= FARTHEST]
    asked = scan.asked if scan.asked in DIRECTIONS else None
    if asked:
        before = [slot for distance, slot in nearest if distance <= CLOSE and distance % 1 == 0 and slot != OTHER]
        if before and before[0] not in (asked, NOTHING):
            return before[0]
        if before and before[0] == NOTHING and asked not in before:
            return None
        return asked
    if not nearest and (scan.asked == "confirm" or _tells_of_strings(scan, hit)):
        return "strung_on"
    if hit.row.reads in PAST_READERS:
        nearest = [(distance, slot) for distance, slot in nearest if slot != "league_start"]
        if not nearest:
            return "strung_on" if _tells_of_strings(scan, hit) else None
    if not nearest or nearest[0][1] in {NOTHING, OTHER}:
        return None
    if hit.row.reads in WEAK_READERS and nearest[0][0] > CLOSE:
        return None
    return nearest[0][1]


def _tells_of_strings(scan: Scan, hit: Hit) -> bool:
    """Tell whether a day gone by stands beside a material or a tension, so that it can only be the day of stringing."""
    return hit.row.reads in PAST_READERS and bool(scan.role("material", "value") or scan.role("tension", "value"))


def _distance(scan: Scan, anchor: Hit, hit: Hit) -> float:
    """Return the words between an anchor and a date; an anchor before its date is whole, one after it gets a half."""
    if anchor.span[0] < hit.span[1] and hit.span[0] < anchor.span[1]:
        return 0
    before = anchor.span[1] <= hit.span[0]
    between = scan.line.text[anchor.span[1] : hit.span[0]] if before else scan.line.text[hit.span[1] : anchor.span[0]]
    words = between.split()
    cost = CLAUSE_COST * sum(word in STOPS or word in {"and", "but", "then"} for word in words)
    return len(words) + cost + (0 if before else 1.5)


def value_of(found: Found) -> Mapping[str, Any]:
    """Return a date value as a mapping."""
    return dict(found.value)
