"""What every stage saw in a turn, for people who keep the cue files; changes nothing of what was understood."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from dialogue.understanding.acts import Act
from dialogue.understanding.commit import Committed
from dialogue.understanding.cues import Scan
from dialogue.understanding.found import Found
from dialogue.understanding.guard import Guarded
from dialogue.understanding.lines import MARKS, Line
from dialogue.understanding.repair import Repaired

GAP = "..."
Stages = tuple[tuple[str, Any], ...]


def stages_before(guarded: Guarded, repaired: Repaired, line: Line) -> Stages:
    """Return what guard, repair and numbers saw."""
    return (
        ("guard", {"text": guarded.text, "flags": list(guarded.flags), "cut": guarded.cut}),
        ("repair", {"text": repaired.text, "repairs": [note for _, _, note in repaired.notes]}),
        ("numbers", {"line": line.text.strip(), "rewritten": list(line.rewritten)}),
    )


def stages_after(scan: Scan, found: Sequence[Found], act: Act, committed: Committed) -> Stages:
    """Return what cues, candidates, acts and commit saw."""
    cues = [
        {
            "rule": hit.row.id,
            "role": hit.row.role,
            "words": hit.words.strip(),
            "blocked": scan.blocked(slot, hit.span) and hit.row.role != "block",
            "taken_back": hit.row.role == "value" and scan.is_negated(hit.span),
        }
        for slot, hits in scan.hits.items()
        for hit in hits
    ]
    candidates = [
        {"slot": one.slot, "value": one.value, "rule": one.rule, "confidence": one.confidence, "owner": one.owner}
        for one in found
    ]
    return (
        ("cues", cues),
        ("candidates", candidates),
        ("act", {"intent": act.intent, "rule": act.rule, "operations": list(act.operations)}),
        ("commit", {"slots": dict(committed.slots), "questions": list(committed.questions)}),
    )


def unmatched(scan: Scan) -> tuple[str, ...]:
    """Return the runs of words that no cue read, fillers left out."""
    read = bytearray(len(scan.line.text) + 1)
    for hits in scan.hits.values():
        for hit in hits:
            # What fills the gap of an act was not read by it.
            gaps = hit.row.slot == "act" and any(GAP in compiled.template for compiled in hit.row.says)
            if hit.row.role not in {"not_name", "name_end"} and not gaps:
                first, last = hit.span
                read[first:last] = b"\x01" * (last - first)
    runs: list[list[str]] = [[]]
    for token, start in zip(scan.line.tokens, scan.line.starts, strict=True):
        if read[start] or token.word in MARKS:
            runs.append([])
        elif token.word not in scan.line.fillers:
            runs[-1].append(scan.line.source[token.start : token.end])
    return tuple(" ".join(run) for run in runs if run)
