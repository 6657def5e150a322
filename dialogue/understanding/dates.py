"""Finds dates in a line and says what each is the date of; turning words into a day is not its work."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from dialogue.understanding.cuebook import CUE_FOLDER, Hit, Row, read_cues
from dialogue.understanding.cues import Scan
from dialogue.understanding.date_forms import read_date
from dialogue.understanding.dated import FUTURE, NEAR, PAST, Dated, Names, Sight
from dialogue.understanding.found import Found
from dialogue.understanding.templates import Compiler

DIRECTIONS = {"strung_on": PAST, "league_start": FUTURE, "label_due": NEAR}
NOTHING = "none"
"""An anchor that tells of the purchase or of a reading: its date is for no slot."""
OTHER = "other"
"""An anchor that tells of something else, which only counts where no date was asked for."""
CLAUSE_COST = 4
FARTHEST = 14
FARTHEST_LETTERS = 140
"""Farther apart than this no word says what a date is of; spares counting the words between."""
CLOSE = 5
PAST_READERS = frozenset({"ago", "ago_fortnight", "had_for"})
HOLIDAY_FORMS = ("<@holiday>", "<@holiday> <year>", "<@which> <@holiday>", "<@holiday> <@last_year>")
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
        table["months"], table["weekdays"], table["seasons"], table["which"], table["nth"], table["units"],
        table["names"]["last_year"], table["names"]["last_month"], holidays, tuple(table["two_digit_years"]),
    )  # fmt: skip
    anchors = [_row(compiler, raw, value=raw["slot"], role="anchor") for raw in table["anchors"]]
    vague = [_row(compiler, raw, role="vague", asked=frozenset(DIRECTIONS)) for raw in table["vague"]]
    holiday = _row(compiler, {"id": "holiday", "says": HOLIDAY_FORMS}, reads="holiday")
    return DateWords(names, (*anchors, *vague, holiday))


def _row(compiler: Compiler, raw: Mapping[str, Any], **settings: Any) -> Row:
    said = tuple(compiler.compile(says) for says in raw["says"])
    return Row(f"date.{raw['id']}", "dates.yaml", "date", said, **settings)


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
        found.append(Found(slot, dated.value, hit.span, hit.row.id, hit.row.confidence, _readback(slot, dated, today)))
    return DatesRead(tuple(found), tuple(dict.fromkeys(impossible)))


def _readback(slot: str, dated: Dated, today: dt.date) -> str | None:
    if dated.readback:
        return dated.readback
    year = str((dated.value or {}).get("value", ""))[:4]
    if slot != "strung_on" and year.isdigit() and int(year) != today.year:
        return "year_moved"
    return None


def _slot_of(scan: Scan, hit: Hit, anchors: Sequence[Hit]) -> str | None:
    """Return the slot a date is for: by the nearest word that says of what, else by the question."""
    close = (one for one in anchors if one.span[0] - hit.span[1] <= FARTHEST_LETTERS >= hit.span[0] - one.span[1])
    measured = ((_distance(scan, anchor, hit), str(anchor.row.value)) for anchor in close)
    near = sorted((pair for pair in measured if pair[0] <= FARTHEST), key=lambda pair: pair[0])
    if scan.asked in DIRECTIONS:
        return _slot_when_asked(scan.asked, near)
    gone_by = hit.row.reads in PAST_READERS
    if gone_by:
        near = [pair for pair in near if pair[1] != "league_start"]
    if not near:
        return "strung_on" if scan.asked == "confirm" or (gone_by and _tells_of_strings(scan)) else None
    distance, slot = near[0]
    too_far = hit.row.reads in WEAK_READERS and distance > CLOSE
    return None if slot in {NOTHING, OTHER} or too_far else slot


def _slot_when_asked(asked: str, near: Sequence[tuple[float, str]]) -> str | None:
    """Return the slot that was asked, unless a word close before the date says otherwise."""
    before = [slot for distance, slot in near if distance <= CLOSE and distance % 1 == 0 and slot != OTHER]
    if not before or asked in before[:1]:
        return asked
    if before[0] != NOTHING:
        return before[0]
    return asked if asked in before else None


def _tells_of_strings(scan: Scan) -> bool:
    """Tell whether a material or a tension is named, so that a day gone by can only be the day of stringing."""
    return bool(scan.role("material", "value") or scan.role("tension", "value"))


def _distance(scan: Scan, anchor: Hit, hit: Hit) -> float:
    """Return the words between an anchor and a date; an anchor before its date is whole, one after it gets a half."""
    if anchor.span[0] < hit.span[1] and hit.span[0] < anchor.span[1]:
        return 0
    before = anchor.span[1] <= hit.span[0]
    between = scan.line.text[anchor.span[1] : hit.span[0]] if before else scan.line.text[hit.span[1] : anchor.span[0]]
    words = between.split()
    cost = CLAUSE_COST * sum(word in scan.line.breaks for word in words)
    return len(words) + cost + (0 if before else 1.5)
