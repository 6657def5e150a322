"""Published advice that differs from the chart: shown beside it, or a limit where a shop has switched it on."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from fractions import Fraction

from rules.book_format import Scalar
from rules.tables import Row
from rules.trail import Trail


@dataclass(frozen=True)
class OtherAdvice:
    """The rows of others that speak of this player and this stringbed."""

    values: Mapping[str, Scalar]
    followed: tuple[Row, ...]
    """Rows the shop has switched on."""
    shown: tuple[Row, ...]
    """Rows that are told and change nothing."""
    ceiling: Fraction | None
    """Upper limit in months of the rows that are switched on."""

    def cut(self, months: Fraction) -> Fraction:
        """Return the months, or the limit where that is shorter."""
        return months if self.ceiling is None else min(months, self.ceiling)


def find_other_advice(trail: Trail, values: Mapping[str, Scalar]) -> OtherAdvice:
    """Return what others say for what is known of level and stringbed."""
    followed: list[Row] = []
    shown: list[Row] = []
    for row in trail.fire("others_say", values):
        switched_on = row.policy is not None and trail.book.policies[row.policy]
        (followed if switched_on else shown).append(row)
    ceiling = min((trail.number(row, "ceiling") for row in followed), default=None)
    return OtherAdvice(values, tuple(followed), tuple(shown), ceiling)


def write_other_advice(trail: Trail, advice: OtherAdvice, *, beside_chart: bool) -> None:
    """Add what the shop follows to the trail, and what others say where there is an interval to set it beside."""
    for row in advice.followed:
        trail.write(replace(row, says=row.followed), advice.values, words={})
    for row in advice.shown if beside_chart else ():
        trail.write(row, advice.values, words={})
