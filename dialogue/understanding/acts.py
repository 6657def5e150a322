"""Which act a line is: the highest-ranked cue whose conditions hold; reads no value."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass
from pathlib import Path

from dialogue.understanding.about import About
from dialogue.understanding.cuebook import CUE_FOLDER, Hit, read_cues
from dialogue.understanding.cues import Scan
from dialogue.understanding.found import covers
from dialogue.understanding.soft_acts import SoftActs

FILE = "acts.yaml"
DENY = "deny"
LEAST_RANK = 20
"""An act of at most this rank gives way to an answer, even to one that is vague."""
DENIED_RANK = 53
"""An act of at most this rank gives way to a plain no to what was asked."""
INFORM, CORRECT, OUT_OF_SCOPE, DONT_KNOW = "inform", "correct", "out_of_scope", "dont_know"


@dataclass(frozen=True)
class Act:
    """An intent with the row that gave it."""

    intent: str
    rule: str
    confidence: float
    operations: tuple[str, ...] = ()


@dataclass(frozen=True)
class Sighting:
    """What was read in the line before its act is decided."""

    slots: AbstractSet[str]
    negated: bool
    replaced: bool
    """A value was replaced in the same breath."""
    denied: bool
    """What was asked about was denied: no symptom, no string ever broken."""
    vague: bool
    flags: AbstractSet[str]
    on_topic: bool


class Acts:
    """Decides acts by the ranks of the act file."""

    def __init__(self, folder: Path = CUE_FOLDER) -> None:
        self._soft = SoftActs(folder)
        table = read_cues(FILE, folder)
        self._ranks: Mapping[str, int] = table["ranks"]
        self._about = About.read(FILE, table)

    @property
    def intents(self) -> AbstractSet[str]:
        """Every intent there is: those that have a rank."""
        return self._ranks.keys()

    def problems(self) -> list[str]:
        """Return the soft rows that can never hold or name an unknown intent."""
        return self._soft.problems(self.intents)

    def decide(self, scan: Scan, seen: Sighting) -> Act:
        """Return the act of a line."""
        hits = [hit for hit in scan.hits.get("act", ()) if self._holds(hit, scan, seen)]
        soft = [hit for hit in self._soft.find(scan.line, scan.asked) if self._holds(hit, scan, seen)]
        hits = [hit for hit in hits if not any(_inside(hit, other) for other in hits)]
        hits += soft
        ranked = sorted(hits, key=lambda hit: (-self._rank(hit), -(hit.span[1] - hit.span[0])))
        best = ranked[0] if ranked else None
        if seen.flags and not seen.slots:
            return Act(OUT_OF_SCOPE, f"guard.{min(seen.flags)}", 0.95)
        if seen.replaced and seen.slots and (best is None or self._rank(best) < self._ranks[CORRECT]):
            return Act(CORRECT, "act.replaced", 0.9)
        if seen.denied and (best is None or self._rank(best) <= DENIED_RANK):
            return Act(DENY, "act.denied", 0.9)
        if best is None or self._gives_way(best, seen):
            return self._without_cue(seen, best)
        return Act(str(best.row.act["intent"]), best.row.id, best.row.confidence, _operations(ranked, best))

    def _gives_way(self, best: Hit, seen: Sighting) -> bool:
        if seen.slots:
            return self._rank(best) < self._ranks[INFORM]
        return seen.vague and self._rank(best) <= LEAST_RANK

    def _without_cue(self, seen: Sighting, best: Hit | None) -> Act:
        if seen.slots:
            return Act(INFORM, "act.values", 0.95)
        if (
            best is not None
            and best.row.act["intent"] != INFORM
            and not (seen.vague and self._rank(best) <= LEAST_RANK)
        ):
            return Act(str(best.row.act["intent"]), best.row.id, best.row.confidence)
        if seen.vague:
            return Act(INFORM, "act.vague", 0.8)
        if seen.on_topic:
            return Act(INFORM, "act.on_topic", 0.4)
        return Act(OUT_OF_SCOPE, "act.none", 0.4)

    def _rank(self, hit: Hit) -> int:
        return int(hit.row.act.get("rank", self._ranks[str(hit.row.act["intent"])]))

    def _holds(self, hit: Hit, scan: Scan, seen: Sighting) -> bool:
        act = hit.row.act
        if not self._about.suits(str(act["intent"]), scan.line):
            return False
        asked_filled = scan.asked in seen.slots
        conditions = (
            (act.get("yields"), not asked_filled),
            (act.get("needs_no_value"), not seen.slots),
            (act.get("needs_value"), bool(seen.slots)),
            (act.get("needs_asked"), asked_filled),
            (act.get("needs_negated"), seen.negated),
            (act.get("needs_denial"), seen.denied),
            (act.get("needs_question"), "?" in scan.line.words),
            (act.get("asked_none"), scan.asked is None),
        )
        return all(met for wanted, met in conditions if wanted)


def _inside(hit: Hit, other: Hit) -> bool:
    """Tell whether a cue only goes on with what another one began: "do I need a restring" asks, and leaves nothing."""
    if other.row.act["intent"] == hit.row.act["intent"]:
        return False
    longer = other.span[1] - other.span[0] > hit.span[1] - hit.span[0]
    began = other.span[0] < hit.span[0] < other.span[1]
    return began or (longer and covers(other.span, hit.span))


def _operations(ranked: Sequence[Hit], best: Hit) -> tuple[str, ...]:
    same = [hit for hit in ranked if hit.row.act["intent"] == best.row.act["intent"]]
    return tuple(dict.fromkeys(str(hit.row.act["operation"]) for hit in same if "operation" in hit.row.act))[:1]
