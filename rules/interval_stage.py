"""The first stage of a decision: which stringbed, which row of the chart, how many months."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction

from rules.book_format import OWN, Scalar
from rules.decision import Need
from rules.evaluator import cell_holds, find_candidates
from rules.facts import Facts
from rules.measurement import exact
from rules.other_advice import OtherAdvice, find_other_advice, write_other_advice
from rules.table_reader import ASKED_WHERE_SAID_WHY
from rules.tables import Row
from rules.trail import Trail


@dataclass(frozen=True)
class Interval:
    """What the chart says, as far as the facts go."""

    needs: tuple[Need, ...] = ()
    row: Row | None = None
    """The row of the chart that holds, where it is settled."""
    months: tuple[Fraction, Fraction] | None = None
    league: bool = False
    ceiling: Fraction | None = None
    """Upper limit in months of a row whose plays a week are not known."""
    shop_ceiling: Fraction | None = None
    """Upper limit in months that the shop has switched on."""
    season_too: bool = False
    """True when a row that goes by the season is possible beside the months."""
    unsure: bool = False
    """True when somebody could not say a fact the chart reads."""

    @property
    def known(self) -> bool:
        """Tell whether there is an interval."""
        return self.league or self.months is not None


def find_interval(trail: Trail) -> Interval:
    """Return the interval and write its rows to the trail, or name what is missing."""
    facts = trail.facts
    values = chart_values(facts)
    bed = trail.fire("stringbed", values)
    if bed:
        trail.write(bed[0], values, words=_bed_words(trail))
        values["stringbed"] = bed[0].gives["stringbed"]
    own = _find_own_row(trail, values)
    if own:
        return _apply_own_row(trail, own, values)
    rows = trail.fire("interval", values) if bed and facts.level else ()
    if rows:
        return _apply_row(trail, rows[0], values)
    return _open_interval(trail, values)


def chart_values(facts: Facts) -> dict[str, Scalar]:
    """Return the inputs of the chart that are known."""
    values: dict[str, Scalar] = {"season_known": facts.league_start is not None}
    for name in ("level", "mains_material", "crosses_material"):
        value = getattr(facts, name)
        if value is not None:
            values[name] = value.value
    if facts.mains_material and facts.crosses_material:
        values["hybrid"] = facts.mains_material != facts.crosses_material
    elif facts.hybrid is not None:
        values["hybrid"] = facts.hybrid
    return values


def _find_own_row(trail: Trail, values: dict[str, Scalar]) -> Row | None:
    """Return the first of the shop's own rows that holds, and offer to ask what another one waits for."""
    table = trail.book.tables.get(OWN)
    if table is None or not table.rows:
        return None
    known = {**values, **_player_values(trail.facts)}
    for row in find_candidates(table, known):
        missing = [name for name in row.when if name not in known]
        if not missing:
            break
        for name in missing:
            if name in ASKED_WHERE_SAID_WHY and table.inputs[name].because:
                trail.offer(name, row, ask=True)
    return next(iter(trail.fire(OWN, known)), None)


def _player_values(facts: Facts) -> dict[str, Scalar]:
    """Return what the shop's own rows may read beside the chart's inputs, where it is known."""
    values: dict[str, Scalar | None] = {
        "sport": facts.sport and facts.sport.value,
        "breaks_strings": facts.breaks_strings,
        "group": facts.group,
    }
    return {name: value for name, value in values.items() if value is not None}


def _apply_own_row(trail: Trail, row: Row, values: dict[str, Scalar]) -> Interval:
    """Return the interval of one of the shop's own rows; the limits the shop follows cut it like any other."""
    advice = find_other_advice(trail, values)
    months = advice.cut(exact(float(row.gives["every_months"])))
    known = {**values, **_player_values(trail.facts)}
    trail.write(row, known, words={"every": trail.words.every(months, months)})
    write_other_advice(trail, advice, beside_chart=True)
    return Interval(row=row, months=(months, months), shop_ceiling=advice.ceiling)


def _bed_words(trail: Trail) -> dict[str, str]:
    sides = {"mains_material": trail.facts.mains_material, "crosses_material": trail.facts.crosses_material}
    return {name: trail.words.term(value) if value else "" for name, value in sides.items()}


def _apply_row(trail: Trail, row: Row, values: dict[str, Scalar]) -> Interval:
    advice = find_other_advice(trail, values)
    league = row.gives["rule"] == "league"
    months = None if league else months_of(trail, row, advice)
    if not league and months is None:
        return _await_plays(trail, row, values, advice)
    words = {"every": trail.words.every(*months) if months else trail.words.league()}
    if trail.facts.plays_per_week:
        words["plays_per_week"] = trail.words.plays(trail.facts.plays_per_week)
    trail.write(row, values, words=words)
    write_other_advice(trail, advice, beside_chart=True)
    return Interval(row=row, months=months, league=league, shop_ceiling=advice.ceiling)


def _await_plays(trail: Trail, row: Row, values: dict[str, Scalar], advice: OtherAdvice) -> Interval:
    """Return the row's limit while nobody has said how often, or answer by it when nobody can."""
    if "plays_per_week" in trail.facts.unknown:
        return _answer_unsure(trail, (row,), values)
    write_other_advice(trail, advice, beside_chart=False)
    needs = tuple(trail.need(fact, row) for fact in row.asks)
    return Interval(needs=needs, row=row, ceiling=advice.cut(trail.number(row, "ceiling")))


def months_of(trail: Trail, row: Row, advice: OtherAdvice) -> tuple[Fraction, Fraction] | None:
    """Return the shortest and longest interval in months by a row, or None where plays a week are not known."""
    if row.gives["rule"] == "months":
        return advice.cut(trail.number(row, "first")), advice.cut(trail.number(row, "last"))
    plays = trail.facts.plays_per_week
    if plays is None:
        return None
    ceiling = advice.cut(trail.number(row, "ceiling"))
    return _share_of_year(trail, plays.high, ceiling), _share_of_year(trail, plays.low, ceiling)


def _share_of_year(trail: Trail, plays: float, ceiling: Fraction) -> Fraction:
    if plays == 0:
        return ceiling
    return min(exact(trail.value("year_months")) / exact(plays), ceiling)


def _open_interval(trail: Trail, values: dict[str, Scalar]) -> Interval:
    """Name what the chart still needs, or fall back where somebody could not say it."""
    beds = find_candidates(trail.book.tables["stringbed"], values)
    names = {str(row.gives["stringbed"]) for row in beds}
    rows = tuple(
        row
        for row in find_candidates(trail.book.tables["interval"], values)
        if "stringbed" not in row.when or any(cell_holds(row.when["stringbed"], name) for name in names)
    )
    needs = []
    if trail.facts.level is None and rows:
        needs.append(trail.need("level", rows[0]))
    if "stringbed" not in values:
        sides = [side for side in ("mains_material", "crosses_material") if side not in values]
        if values.get("hybrid") is False:
            sides = sides[:1]
        needs += [trail.need(side, bed) for side in sides for bed in _find_reader(side, beds)]
    needs = [need for need in needs if need.fact not in trail.facts.unknown]
    if not needs and trail.facts.plays_per_week is None and "plays_per_week" not in trail.facts.unknown:
        needs = [trail.need("plays_per_week", row) for row in rows if "plays_per_week" in row.asks][:1]
    if not needs:
        return _answer_unsure(trail, rows, values)
    advice = find_other_advice(trail, values)
    write_other_advice(trail, advice, beside_chart=False)
    return Interval(needs=tuple(needs), shop_ceiling=advice.ceiling)


def _find_reader(fact: str, rows: tuple[Row, ...]) -> tuple[Row, ...]:
    """Return the first row that reads a fact, or none."""
    return tuple(row for row in rows if fact in row.when)[:1]


def _answer_unsure(trail: Trail, rows: tuple[Row, ...], values: dict[str, Scalar]) -> Interval:
    """Answer as well as the known facts allow, and say what that rests on."""
    inputs: dict[str, Scalar] = {
        "chart_unknown": len(rows) > 1,
        "plays_unknown": "plays_per_week" in trail.facts.unknown,
        "candidates": len(rows),
    }
    fired = trail.fire("interval_unsure", inputs)
    if not fired:
        advice = find_other_advice(trail, values)
        write_other_advice(trail, advice, beside_chart=False)
        return Interval(shop_ceiling=advice.ceiling)
    season_too = any(row.gives["rule"] == "league" for row in rows)
    options = [_Option.of(trail, row, values) for row in rows if row.gives["rule"] != "league"]
    if not options:
        trail.write(fired[0], inputs, words={"every": trail.words.league()})
        return Interval(row=rows[0], league=True, unsure=True)
    strictest = min(options, key=lambda option: (option.months[1], option.months[0]))
    words = {"every": trail.words.every(*strictest.months)}
    if len(rows) == 1:
        trail.write(strictest.row, values, words=words)
    trail.write_with(fired[0], inputs, {"strictest": strictest.row.id}, words)
    write_other_advice(trail, strictest.advice, beside_chart=True)
    return Interval(
        row=strictest.row,
        months=strictest.months,
        unsure=True,
        shop_ceiling=strictest.advice.ceiling,
        season_too=season_too,
    )


@dataclass(frozen=True)
class _Option:
    """A row of the chart that may be the right one, and how long it would give."""

    row: Row
    months: tuple[Fraction, Fraction]
    advice: OtherAdvice

    @classmethod
    def of(cls, trail: Trail, row: Row, values: Mapping[str, Scalar]) -> _Option:
        named = {name: cell.one_of[0] for name, cell in row.when.items() if len(cell.one_of) == 1}
        advice = find_other_advice(trail, {**named, **values})
        months = months_of(trail, row, advice)
        if months is None:
            ceiling = advice.cut(trail.number(row, "ceiling"))
            months = (ceiling, ceiling)
        return cls(row, months, advice)
