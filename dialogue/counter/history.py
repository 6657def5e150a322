"""What was done to a racquet and by whom, and the taking back of the last entry; decides nothing."""

from __future__ import annotations

from dataclasses import dataclass

from dialogue.counter.bench import the_job
from dialogue.counter.counter import Counter
from dialogue.counter.outcomes import Outcome
from dialogue.counter.taken_back import tell_taken_back
from storage.queries import RacquetHistory
from storage.rows import AuditRow


@dataclass(frozen=True, kw_only=True)
class History(Outcome):
    """Everything known of one racquet, with who wrote it."""

    history: RacquetHistory
    trail: tuple[AuditRow, ...]
    """Who changed what on its stringings and readings, the oldest first."""


@dataclass(frozen=True, kw_only=True)
class Undone(Outcome):
    """What taking back the last entry changed."""

    who: str
    entries: tuple[AuditRow, ...]
    what: tuple[str, ...]
    """What was taken back, in a few words each: "the membership of Bo Tarn in the Frost League"."""


def show_history(counter: Counter, tag: str) -> History:
    """Return the whole history of the racquet whose tag, or whose stringing's tag, this is.

    Raises:
        NotFound: when nothing bears the tag.
    """
    with counter.look() as unit:
        racquet_id = the_job(unit, tag).racquet_id
        history = unit.queries.history(racquet_id)
        entries = list(unit.trail.of("racquet", racquet_id))
        for part in history.jobs:
            entries += unit.trail.of("string_job", part.job.id)
            for reading in part.readings:
                entries += unit.trail.of("reading", reading.id)
        return History(history=history, trail=tuple(sorted(entries, key=lambda entry: entry.id)))


def undo(counter: Counter) -> Undone:
    """Take back what this person did last.

    Raises:
        NotFound: when there is nothing to take back.
        Conflict: when something stored later rests on it.
    """
    with counter.work() as unit:
        entries = unit.undo_last(counter.who)
        return Undone(who=counter.who, entries=entries, what=tell_taken_back(unit, entries, counter.wording))
