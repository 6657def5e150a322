"""What the cards of one racquet tell, as facts: of player, strings and earlier talk; decides nothing."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from dialogue.racquets import PLAYER_FACTS, STRING_FACTS
from dialogue.translate import customer_facts, job_facts
from storage.rows import CustomerRow, RacquetRow, ReadingRow, StringJobRow

REMEMBERED = (*PLAYER_FACTS, *STRING_FACTS, "strung_on", "label_due", "baseline")
"""What a later consultation takes from an earlier one: not how the strings felt or read on that day."""


@dataclass(frozen=True)
class OnRecord:
    """One racquet's cards."""

    customer: CustomerRow | None
    racquet: RacquetRow
    job: StringJobRow | None
    readings: Sequence[ReadingRow]
    said: Mapping[str, Any]
    """The facts of its last consultation; empty where there was none."""
    said_on: dt.date | None

    def facts(self, today: dt.date) -> dict[str, Any]:
        """Return what the cards tell: the player's from the customer, the strings' from the stringing."""
        facts = {name: self.said[name] for name in REMEMBERED if name in self.said}
        job = self.job
        if job and job.strung_on and self.said_on and self.said_on < job.strung_on:
            facts = {name: value for name, value in facts.items() if name in PLAYER_FACTS}
        if _is_past(facts.get("league_start"), today):
            del facts["league_start"]
        if self.customer:
            facts |= customer_facts(self.customer)
        if self.racquet.sport:
            facts["sport"] = self.racquet.sport
        if job:
            facts |= job_facts(job, self.readings)
        return facts


def _is_past(day: Any, today: dt.date) -> bool:
    """Tell whether a day, or a month or year that was named, began before today."""
    said = day["value"] if isinstance(day, dict) else day
    return said is not None and str(said) < today.isoformat()
