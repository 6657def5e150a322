"""The whole decision: interval, date, reading, verdict, cautions; pure, the same for the same facts and book."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from fractions import Fraction
from typing import Any

from rules.book_format import Scalar
from rules.decision import Decision, Need, Verdict
from rules.due_stage import Due, find_due
from rules.engine import Engine, choose_engine
from rules.facts import Facts, Symptom
from rules.intake import POUNDS_PER
from rules.interval_stage import Interval, find_interval
from rules.reading_stage import Measured, measure
from rules.rulebook import Rulebook
from rules.tables import Row
from rules.trail import Trail

PERCENT_PLACES = 3
MONTH_PLACES = 6


def decide(facts: Facts, book: Rulebook, engine: Engine | None = None) -> Decision:
    """Return the verdict, the interval and the dates for these facts, with the rows they rest on.

    Args:
        facts: what is known, with the day of the decision.
        book: the rulebook.
        engine: fires the rows; by default the one this Python can run.

    Raises:
        BookError: when rows of the book fire together that may not.
    """
    return decide_on(Trail(facts, book, engine or choose_engine()))


def decide_on(trail: Trail) -> Decision:
    """Return the decision for the facts of a trail on which nothing stands yet; its rows are written to it.

    Raises:
        BookError: when rows of the book fire together that may not.
    """
    interval = find_interval(trail)
    due = find_due(trail, interval)
    measured = measure(trail)
    verdict = weigh_evidence(trail, due, measured)
    needs, strengthens = _sort_needs(trail, interval, due, measured, verdict)
    cautions = _speak_cautions(trail, verdict, measured)
    _write_notes(trail, due, verdict)
    return Decision(
        verdict=verdict,
        rulebook=trail.book.hash,
        interval=_interval_json(interval),
        every=_every(trail, interval),
        restring_by=due.restring_by,
        window=due.window,
        loss_percent=_percent(measured.loss_percent),
        energy_percent=_percent(measured.energy_percent),
        approximate=bool(due.restring_by and due.approximate),
        needs=needs,
        strengthens=strengthens,
        cautions=cautions,
        trail=tuple(trail.steps),
    )


def _percent(value: Fraction | None) -> float | None:
    return None if value is None else round(float(value), PERCENT_PLACES)


def _interval_json(interval: Interval) -> dict[str, Any] | None:
    if interval.league:
        return {"before": "league_start"}
    if interval.months is None:
        return None
    low, high = (_plain(end) for end in interval.months)
    return {"months": low if low == high else [low, high]}


def _plain(months: Fraction) -> int | float:
    return int(months) if months.denominator == 1 else round(float(months), MONTH_PLACES)


def _every(trail: Trail, interval: Interval) -> str | None:
    if interval.league:
        return trail.words.league()
    return trail.words.every(*interval.months) if interval.months else None


def _state_of(trail: Trail, first: dt.date | None, last: dt.date | None) -> str:
    """Return where today lies: passed, open (a window), near (a day), ahead, or none without a date."""
    today = trail.facts.today
    if first is None or last is None:
        return "none"
    if today > last:
        return "passed"
    if first != last:
        return "open" if today >= first else "ahead"
    return "near" if (last - today).days <= trail.value("soon_days") else "ahead"


def weigh_evidence(trail: Trail, due: Due, measured: Measured) -> Verdict:
    """Fire the verdict table: its first row decides, the others stand beside it."""
    symptoms = trail.facts.symptoms or ()
    felt = [symptom for symptom in symptoms if symptom is not Symptom.BROKEN]
    values: dict[str, Scalar] = {
        "broken": Symptom.BROKEN in symptoms,
        "measured": measured.state,
        "label": _state_of(trail, due.label, due.label),
        "date": _state_of(trail, due.first, due.last),
        "latest_passed": due.latest is not None,
        "symptom": bool(felt),
    }
    rows = trail.fire_all("verdict", values)
    if not rows:
        return Verdict.NEED_MORE
    verdict = Verdict(str(rows[0].gives["verdict"]))
    words = _evidence_words(trail, due, measured, felt)
    for row in rows:
        against = row.gives["verdict"] == Verdict.PLAY_ON and verdict is not Verdict.PLAY_ON
        trail.write(row, values, words=words, against=against)
    return verdict


def _evidence_words(trail: Trail, due: Due, measured: Measured, felt: Sequence[Symptom]) -> Mapping[str, str]:
    words = {"symptoms": trail.words.terms(felt)}
    facts = trail.facts
    if facts.label_due:
        words["label_due"] = trail.words.day(facts.label_due)
        words["label_overdue"] = trail.words.overdue(facts.label_due.day, facts.today)
    if due.first and due.last:
        words["chart_due"] = _spoken(trail, due.last, inexact=due.inexact)
        words["window_first"] = trail.words.date(due.first)
        words["overdue"] = trail.words.overdue(due.last, facts.today)
    if due.latest:
        words["latest"] = _spoken(trail, due.latest, inexact=bool(facts.strung_on and facts.strung_on.approx))
    if measured.spoken_loss:
        words["loss_percent"] = measured.spoken_loss
    return words


def _spoken(trail: Trail, day: dt.date, *, inexact: bool) -> str:
    """Return a day in words, with "about" where it counts from an inexact one."""
    text = trail.words.date(day)
    return trail.words.about(text) if inexact else text


def _sort_needs(
    trail: Trail, interval: Interval, due: Due, measured: Measured, verdict: Verdict
) -> tuple[tuple[Need, ...], tuple[Need, ...]]:
    """Return what must be known before the verdict stands, and what would make it firmer."""
    facts = trail.facts
    needs = list(interval.needs)
    chart = trail.book.tables["interval"]
    row = interval.row or chart.rows[0]
    if facts.strung_on is None and "strung_on" not in facts.unknown:
        if interval.league:
            trail.offer("strung_on", row, ask=True)
        else:
            needs.append(trail.need("strung_on", row))
    settled = verdict is Verdict.RESTRING_NOW or due.label is not None
    later = [Need(need.fact, need.because, need.row, ask=False) for need in needs] if settled else []
    needs = [] if settled else needs
    _offer_evidence(trail)
    if verdict is Verdict.NEED_MORE and not needs:
        needs = _find_last_resort(trail, measured)
    taken = {need.fact for need in needs}
    offers = [need for need in (*later, *trail.offered) if need.fact not in taken]
    return tuple(needs), tuple(offers)


LAST_RESORTS = ("label_due", "reading", "baseline")
"""Facts that can still decide when the chart cannot, the easiest to give first."""


def _find_last_resort(trail: Trail, measured: Measured) -> list[Need]:
    """Return the one thing that would still decide; a reading that had to be set aside may be taken again."""
    open_needs = [
        need
        for need in trail.offered
        if need.fact in LAST_RESORTS
        and (not trail.facts.known(need.fact) or (need.fact == "reading" and measured.state == "none"))
    ]
    return sorted(open_needs, key=lambda need: LAST_RESORTS.index(need.fact))[:1]


def _offer_evidence(trail: Trail) -> None:
    facts = trail.facts
    if facts.label_due is None:
        trail.offer("label_due", _find_row(trail, "label", "takes", "label"), ask=False)
    if not facts.reading:
        trail.offer("reading", _find_row(trail, "comparable", "compare", wanted=True), ask=False)


def _find_row(trail: Trail, table: str, key: str, wanted: Scalar) -> Row:
    """Return the first row of a table that gives the wanted, else the table's first."""
    rows = trail.book.tables[table].rows
    return next((row for row in rows if row.gives.get(key) == wanted), rows[0])


def _speak_cautions(trail: Trail, verdict: Verdict, measured: Measured) -> tuple[str, ...]:
    facts = trail.facts
    symptoms = facts.symptoms or ()
    values: dict[str, Scalar] = {
        "arm_pain": Symptom.ARM_PAIN in symptoms,
        "broken": Symptom.BROKEN in symptoms,
        "verdict": verdict.value,
        "slipped": measured.slipped,
        "sport": facts.sport.value if facts.sport else "unnamed",
    }
    words = {}
    sides = [side for side in (facts.mains_tension, facts.crosses_tension) if side]
    if sides:
        pulls = [round(side.value * POUNDS_PER[side.unit], 2) for side in sides]
        values["highest_tension_lb"], values["lowest_tension_lb"] = max(pulls), min(pulls)
        words = {
            "highest_tension_lb": trail.words.decimal(max(pulls)),
            "lowest_tension_lb": trail.words.decimal(min(pulls)),
        }
    rows = trail.fire("cautions", values)
    for row in rows:
        trail.write(row, values, words=words)
    return tuple(str(row.gives["caution"]) for row in rows)


def _write_notes(trail: Trail, due: Due, verdict: Verdict) -> None:
    facts = trail.facts
    counted = bool(due.last or due.latest)
    values: dict[str, Scalar] = {
        "season_named": facts.season is not None,
        "strung_approx": bool(counted and facts.strung_on and facts.strung_on.approx),
        "age_unknown": verdict is Verdict.NEED_MORE and "strung_on" in facts.unknown,
    }
    words = {"season": trail.words.term(facts.season) if facts.season else ""}
    if facts.strung_on:
        words["strung_named"] = trail.words.day(facts.strung_on)
    for row in trail.fire("notes", values):
        trail.write(row, values, words=words)
