"""Puts right what a recogniser misheard, and records it; reads no value and touches no typed text."""

from __future__ import annotations

import re
from dataclasses import dataclass
from pathlib import Path

from dialogue.understanding.cuebook import CUE_FOLDER, read_cues
from dialogue.understanding.errors import CueBroken


@dataclass(frozen=True)
class Repaired:
    """A text after the repairs, with what was changed where."""

    text: str
    notes: tuple[tuple[int, int, str], ...] = ()
    """Start and end in the repaired text, and "heard -> meant"."""

    def note_of(self, span: tuple[int, int]) -> str | None:
        """Return the repairs that touch a span of the text."""
        touching = [note for start, end, note in self.notes if start < span[1] and end > span[0]]
        return "; ".join(touching) or None


@dataclass(frozen=True)
class _Rule:
    id: str
    hears: re.Pattern[str]
    means: str
    after: re.Pattern[str] | None


class Repairer:
    """Repairs speech by the rules of the repair file."""

    def __init__(self, folder: Path = CUE_FOLDER) -> None:
        table = read_cues("repairs.yaml", folder)
        lists = table["lists"]
        guards = table.get("guards", {})
        self._longest = int(table["longest"])
        self._rules = [_rule(raw, lists, guards.get(raw.get("id"))) for raw in table["repairs"]]

    def problems(self) -> list[str]:
        """Return the rules that undo or repeat themselves."""
        return [
            f"cues/repairs.yaml: {rule.id}: hears its own repair {rule.means!r}; narrow `hears:`"
            for rule in self._rules
            if "\\" not in rule.means
            and (match := rule.hears.search(rule.means))
            and match.expand(rule.means) != match[0]
        ]

    def repair(self, text: str) -> Repaired:
        """Return the text with every repair applied in order; beyond the longest spoken turn it is left as heard."""
        text, rest = text[: self._longest], text[self._longest :]
        notes: list[tuple[int, int, str]] = []
        for rule in self._rules:
            at = 0
            while match := rule.hears.search(text, at):
                start, end = match.span()
                meant = match.expand(rule.means)
                heard = match[0]
                if meant == heard or (rule.after and not rule.after.search(text, 0, start)):
                    at = max(end, start + 1)
                    continue
                text = text[:start] + meant + text[end:]
                shift = len(meant) - (end - start)
                notes = [_moved(note, end, shift) for note in notes]
                notes.append((start, start + len(meant), f"{heard.strip()} -> {meant.strip()}"))
                at = start + len(meant)
        return Repaired(text + rest, tuple(notes))


def _moved(note: tuple[int, int, str], after: int, shift: int) -> tuple[int, int, str]:
    start, end, words = note
    return (start + shift, end + shift, words) if start >= after else note


def _rule(raw: dict[str, str], lists: dict[str, str], guard: str | None) -> _Rule:
    try:
        hears = re.compile(_fill(raw["hears"], lists), re.IGNORECASE)
        after = re.compile(_fill(guard, lists), re.IGNORECASE) if guard else None
        means = str(raw["means"])
    except (KeyError, re.error) as wrong:
        raise CueBroken("repairs.yaml", str(raw.get("id", raw)), f"{wrong}; needs `hears:` and `means:`") from wrong
    return _Rule(raw["id"], hears, means, after)


def _fill(pattern: str, lists: dict[str, str]) -> str:
    for name, words in lists.items():
        pattern = pattern.replace("{" + name + "}", f"(?:{words})")
    return pattern
