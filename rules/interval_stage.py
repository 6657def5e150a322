"""The first stage of a decision: which stringbed, which row of the chart, how many months."""

from __future__ import annotations

from dataclasses import dataclass
from fractions import Fraction

from rules.book_format import Scalar
from rules.decision import Need
from rules.evaluator import cell_holds, find_candidates
from rules.facts import Facts
from rules.measurement import exact
from rules.rulebook import Row
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
    policy_ceiling: Fraction | None = None
    """Upper limit in months that a shop has switched on."""
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


def _bed_words(trail: Trail) -> dict[str, str]:
    sides = {"mains_material": trail.facts.mains_material, "crosses_material": trail.facts.crosses_material}
    return {name: trail.words.term(value) if value else "" for name, value in sides.items()}


def _apply_row(trail: Trail, row: Row, values: dict[str, Scalar]) -> Interval:
    policy = _policy_ceiling(trail, values)
    if row.gives["rule"] == "league":
        trail.write(row, values, words={"every": trail.words.league()})
        return Interval(row=row, league=True, policy_ceiling=policy)
    months = months_of(trail, row, policy)
    if months is not None:
        words = {"every": trail.words.every(*months)}
        if trail.facts.plays_per_week:
            words["plays_per_week"] = trail.words.plays(trail.facts.plays_per_week)
        trail.write(row, values, words=words)
        return Interval(row=row, months=months, policy_ceiling=policy)
    ceiling = Fraction(trail.value(str(row.gives["ceiling"])))
    if "plays_per_week" in trail.facts.unknown:
        return _unsure(trail, (row,), values, policy)
    needs = tuple(trail.need(fact, row) for fact in row.asks)
    return Interval(needs=needs, row=row, ceiling=ceiling)


def months_of(trail: Trail, row: Row, policy: Fraction | None = None) -> tuple[Fraction, Fraction] | None:
    """Return the shortest and longest interval in months by a row, or None where plays a week are not known."""
    gives = row.gives
    if gives["rule"] == "months":
        low, high = (exact(trail.value(str(gives[end]))) for end in ("first", "last"))
    else:
        plays = trail.facts.plays_per_week
        if plays is None:
            return None
        ceiling = exact(trail.value(str(gives["ceiling"])))
        low, high = (_share_of_year(trail, count, ceiling) for count in (plays.high, plays.low))
    if policy is not None:
        low, high = min(low, policy), min(high, policy)
    return low, high


def _share_of_year(trail: Trail, plays: float, ceiling: Fraction) -> Fraction:
    if plays == 0:
        return ceiling
    return min(exact(trail.value("year_months")) / exact(plays), ceiling)


def _policy_ceiling(trail: Trail, values: dict[str, Scalar]) -> Fraction | None:
    ceilings = []
    for row in trail.fire("others_say", values):
        if row.policy and trail.book.policies[row.policy]:
            ceilings.append(exact(trail.value(str(row.gives["ceiling"]))))
            trail.write(row, values, words={})
    return min(ceilings, default=None)


def _open_interval(trail: Trail, values: dict[str, Scalar]) -> Interval:
    """Name what the chart still needs, or fall back where somebody could not say it."""
    beds = find_candidates(trail.book.tables["stringbed"], values)
    names = {str(row.gives["stringbed"]) for row in beds}
    rows = tuple(
        row
        for row in find_candidates(trail.book.tables["interval"], values)
        if any(cell_holds(row.when["stringbed"], name) for name in names)
    )
    needs = []
    if trail.facts.level is None:
        needs.append(trail.need("level", rows[0]))
    if "stringbed" not in values:
        sides = [side for side in ("mains_material", "crosses_material") if side not in values]
        if values.get("hybrid") is False:
            sides = sides[:1]
        needs += [trail.need(side, next(bed for bed in beds if side in bed.when)) for side in sides]
    open_needs = tuple(need for need in needs if need.fact not in trail.facts.unknown)
    if open_needs:
        return Interval(needs=open_needs)
    plays_open = trail.facts.plays_per_week is None and "plays_per_week" not in trail.facts.unknown
    asking = [row for row in rows if "plays_per_week" in row.asks]
    if plays_open and asking:
        return Interval(needs=(trail.need("plays_per_week", asking[0]),))
    return _unsure(trail, rows, values, None)


def _unsure(trail: Trail, rows: tuple[Row, ...], values: dict[str, Scalar], policy: Fraction | None) -> Interval:
    """Answer as well as the known facts allow, and say what that rests on."""
    chart_unknown = len(rows) > 1
    inputs: dict[str, Scalar] = {
        "chart_unknown": chart_unknown,
        "plays_unknown": "plays_per_week" in trail.facts.unknown,
        "candidates": len(rows),
    }
    fired = trail.fire("interval_unsure", inputs)
    if not fired:
        return Interval()
    options = [(_longest_if_open(trail, row, policy), row) for row in rows if row.gives["rule"] != "league"]
    if not options:
        return Interval(row=rows[0], league=True, unsure=True)
    months, row = min(options, key=lambda option: (option[0][1], option[0][0]))
    words = {"every": trail.words.every(*months)}
    if not chart_unknown:
        trail.write(row, values, words={**words, "plays_per_week": ""})
    trail.write(fired[0], inputs, words=words)
    return Interval(row=row, months=months, unsure=True, policy_ceiling=policy)


def _longest_if_open(trail: Trail, row: Row, policy: Fraction | None) -> tuple[Fraction, Fraction]:
    months = months_of(trail, row, policy)
    if months is None:
        ceiling = exact(trail.value(str(row.gives["ceiling"])))
        months = (ceiling, ceiling) if policy is None else (min(ceiling, policy), min(ceiling, policy))
    return months
