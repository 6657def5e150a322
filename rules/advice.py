"""Strings and tension to start from where a customer does not know: rows of the rulebook, within the printed range."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from fractions import Fraction
from typing import Any

from rules.book_format import Scalar
from rules.decision import Need, Step
from rules.engine import Engine, choose_engine
from rules.evaluator import find_candidates
from rules.facts import Fact, Facts, Material, Span, Symptom
from rules.measurement import exact
from rules.rulebook import Rulebook
from rules.tables import Row
from rules.trail import Trail

STRINGS, TENSION = "advise_strings", "advise_tension"
SPORT_UNNAMED = "unnamed"
NOTICED: Mapping[str, Symptom] = {
    "arm_pain": Symptom.ARM_PAIN,
    "loss_of_power": Symptom.LOSS_OF_POWER,
    "loss_of_control": Symptom.LOSS_OF_CONTROL,
}
"""Columns that read what the player notices."""
GENTLER: Mapping[str, Scalar] = {**dict.fromkeys(NOTICED, False), "breaks_strings": False, "level": "recreational"}
"""What counts where nobody knows: nothing noticed, no broken strings, play for fun."""


@dataclass(frozen=True)
class StringAdvice:
    """A starting point for the next stringing, row by row; it is never more than that."""

    mains: str
    crosses: str
    tension_lb: float | None
    """For mains and crosses; None where nobody read the range printed on the frame."""
    range_lb: tuple[float, float] | None
    """Between which it may be talked over, inside the printed range too."""
    needs: tuple[Need, ...]
    """What the rows still turn on, first to ask first; until it is known or unknown the gentler case counts."""
    trail: tuple[Step, ...]

    def to_dict(self) -> dict[str, Any]:
        """Return the advice as JSON."""
        return {
            "mains_material": self.mains,
            "crosses_material": self.crosses,
            "tension_lb": self.tension_lb,
            "range_lb": list(self.range_lb) if self.range_lb else None,
            "needs": [need.to_dict() for need in self.needs],
            "trail": [step.to_dict() for step in self.trail],
        }


def advise_strings(
    facts: Facts, book: Rulebook, printed_lb: Span | None = None, engine: Engine | None = None
) -> StringAdvice | None:
    """Return the strings and the tension to start from, or None where the rulebook gives no advice.

    Strings that are wanted already are kept, and only the tension is advised. The tension is a whole number of lb
    inside the range printed on the frame; without that range there is none.
    """
    if STRINGS not in book.tables or TENSION not in book.tables:
        return None
    trail = Trail(facts, book, engine or choose_engine())
    told = gather_told(facts)
    wanted = facts.mains_material is not None
    needs = _missing(trail, TENSION if wanted else STRINGS, told)
    values = gather_known(facts)
    if facts.mains_material:
        mains, crosses = facts.mains_material.value, (facts.crosses_material or facts.mains_material).value
    else:
        rows = trail.fire(STRINGS, values)
        if not rows:
            return None
        trail.write(rows[0], values, words={})
        mains, crosses = str(rows[0].gives["mains"]), str(rows[0].gives["crosses"])
    start = _start(trail, {**values, "mains_material": Material(mains).value}, printed_lb)
    for caution in trail.fire("cautions", {"arm_pain": values["arm_pain"]}):
        trail.write(caution, values, words={})
    return StringAdvice(mains, crosses, *start, needs, tuple(trail.steps))


def gather_known(facts: Facts) -> dict[str, Scalar]:
    """Return what the rows read: what is known, and the gentler case in the place of what is not."""
    return {**GENTLER, **gather_told(facts)}


def gather_told(facts: Facts) -> dict[str, Scalar]:
    """Return the columns of which something is known, or of which nobody can say anything."""
    told: dict[str, Scalar] = {"sport": facts.sport.value if facts.sport else SPORT_UNNAMED}
    if facts.symptoms is not None:
        told |= {column: symptom in facts.symptoms for column, symptom in NOTICED.items()}
    if facts.breaks_strings is not None:
        told["breaks_strings"] = facts.breaks_strings
    if facts.level:
        told["level"] = facts.level.value
    given_up = {column: value for column, value in GENTLER.items() if _fact(column) in facts.unknown}
    return {**given_up, **told}


def _fact(column: str) -> str:
    """Return the fact that fills a column."""
    return Fact.SYMPTOMS.value if column in NOTICED else column


def _missing(trail: Trail, table: str, told: Mapping[str, Scalar]) -> tuple[Need, ...]:
    """Return what the rows that are left still turn on, in the order of the table's columns."""
    columns = trail.book.tables[table].inputs
    open_: dict[str, Need] = {}
    for row in find_candidates(trail.book.tables[table], told):
        for column in columns:
            fact = _fact(column)
            if column in row.when and column in GENTLER and column not in told and fact not in open_:
                open_[fact] = Need(fact, columns[column].because, row.id)
        if all(column in told for column in row.when) and trail.book.tables[table].hit_policy == "first":
            break  # what stands behind a row that holds never counts
    order = [_fact(column) for column in columns]
    return tuple(sorted(open_.values(), key=lambda need: order.index(need.fact)))


def _start(
    trail: Trail, values: Mapping[str, Scalar], printed_lb: Span | None
) -> tuple[float | None, tuple[float, float] | None]:
    """Return the pull to start from in lb, with the range about it, and write the rows it comes from."""
    known = {**values, "printed_known": printed_lb is not None}
    moved, about = exact(0), exact(0)
    for row in trail.fire(TENSION, known):
        trail.write(row, known, words={})
        moved += _given(trail, row, "raise") - _given(trail, row, "lower")
        about += _given(trail, row, "range")
    if printed_lb is None:
        return None, None
    pull = float(round((exact(printed_lb.low) + exact(printed_lb.high)) / 2 + moved))
    inside = _inside(pull, printed_lb)
    if inside != pull:
        outside = {**known, "outside": True}
        for row in trail.fire(TENSION, outside):
            if "outside" in row.when:
                trail.write(row, outside, words={"edge_lb": f"{inside:g}"})
    return inside, (_inside(inside - float(about), printed_lb), _inside(inside + float(about), printed_lb))


def _inside(pull: float, printed_lb: Span) -> float:
    return min(max(pull, printed_lb.low), printed_lb.high)


def _given(trail: Trail, row: Row, key: str) -> Fraction:
    """Return what a row gives under a name in lb, exactly; nothing where it does not give it."""
    return trail.number(row, key) if key in row.gives else exact(0)
