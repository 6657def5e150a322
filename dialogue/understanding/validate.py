"""Looks for cue rows that are malformed, can never fire or fight each other; changes none of them."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path
from typing import Any

from dialogue.understanding.convert import CONVERTERS
from dialogue.understanding.cuebook import CUE_FOLDER, Row, read_row_list
from dialogue.understanding.cues import COUNT_DAYS
from dialogue.understanding.date_forms import READERS
from dialogue.understanding.errors import CueBroken
from dialogue.understanding.lines import read_line
from dialogue.understanding.understander import ROW_FILES, Understander, read_lists

TENSION_READS = frozenset({"pounds", "kilos", "pair", "pair_pounds", "pair_kilos", "bare", "less", "more", "same"})


def validate(folder: Path = CUE_FOLDER) -> list[str]:
    """Return every problem of the cue files as "file: row: what to do"; empty when they are sound."""
    try:
        understander = Understander(folder)
        repairs = understander.repairer.problems()
    except CueBroken as broken:
        # The first broken row ends the loading; whoever mends the files wants to hear of all.
        return [*_malformed(folder)] or [str(broken)]
    return [
        *_unknown_names(understander),
        *_never_fire(understander),
        *_fights(understander),
        *repairs,
        *understander.acts.problems(),
    ]


def _malformed(folder: Path) -> Iterator[str]:
    try:
        compiler = read_lists(folder)
    except CueBroken as broken:
        yield str(broken)
        return
    for name in ROW_FILES:
        for outcome in read_row_list(name, compiler, folder):
            if isinstance(outcome, CueBroken):
                yield str(outcome)


def _unknown_names(understander: Understander) -> Iterator[str]:
    asked = understander.suggestions.slots
    intents = understander.acts.intents
    for row in understander.book.rows:
        for slot in sorted((row.asked | row.not_asked) - asked):
            yield f"cues/{row.file}: {row.id}: asks for {slot!r}, which is never asked; use one of the slots"
        if "intent" in row.act and row.act["intent"] not in intents:
            yield f"cues/{row.file}: {row.id}: has the unknown intent {row.act['intent']!r}; use one of the intents"
        known = READERS if row.slot == "date" else TENSION_READS if row.slot == "tension" else (*CONVERTERS, COUNT_DAYS)
        if row.reads is not None and row.reads not in known:
            yield f"cues/{row.file}: {row.id}: reads {row.reads!r}, which no converter does; use one of {sorted(known)}"


def _never_fire(understander: Understander) -> Iterator[str]:
    """Yield the phrases that no line can have, because its words are read differently before the cues see them."""
    steady = _Steady(understander)
    for row in understander.book.rows:
        for compiled in row.says:
            known = frozenset(compiled.phrases or ())
            for text in (compiled.sample,) if compiled.phrases is None else compiled.phrases:
                if steady.keeps(text):
                    continue
                read = steady.read(text)
                if (
                    read != text
                    and read not in known
                    and not (compiled.phrases is None and compiled.pattern.match(f"{read} "))
                ):
                    yield (
                        f"cues/{row.file}: {row.id}: can never fire on {text!r}, which is read as {read!r};"
                        " write it so, or leave it out"
                    )


class _Steady:
    """Reads phrases, and tells of most at once that they are read as written: each word is, and none is a figure."""

    def __init__(self, understander: Understander) -> None:
        self._understander = understander
        self._known: dict[str, bool] = {}
        self._read: dict[str, str] = {}

    def keeps(self, phrase: str) -> bool:
        """Tell whether no word of a phrase is read as another; False where that is not sure."""
        return all(self._keeps(word) for word in phrase.split())

    def read(self, text: str) -> str:
        """Return the words of a text as the cues see them."""
        read = self._read.get(text)
        if read is None:
            line = read_line(text, self._understander.spelling)
            read = self._read[text] = self._understander.numbers.read(line).text.strip()
        return read

    def _keeps(self, word: str) -> bool:
        known = self._known.get(word)
        if known is None:
            spelling, numbers = self._understander.spelling, self._understander.numbers
            # Letters alone are one word to the reader, whatever stands beside them.
            plain = word.isascii() and word.isalpha() and word.islower()
            known = self._known[word] = plain and spelling.read(word) == (word,) and not numbers.may_read(word)
        return known


def _fights(understander: Understander) -> Iterator[str]:
    """Yield the phrases that two rows of one slot read differently under the same conditions."""
    seen: dict[tuple[Any, ...], Row] = {}
    for row in understander.book.rows:
        if row.role not in {"value", "kind", "side"}:
            continue
        conditions = _conditions(row)
        for compiled in row.says:
            for phrase in compiled.phrases or ():
                for condition in row.asked or (None,):
                    key = (row.slot, phrase, condition, conditions)
                    other = seen.setdefault(key, row)
                    if other is not row and _meaning(other) != _meaning(row):
                        yield (
                            f"cues/{row.file}: {row.id}: fights {other.id} over {phrase!r};"
                            " leave the phrase to one of them"
                        )


def _conditions(row: Row) -> tuple[Any, ...]:
    act = {name: value for name, value in row.act.items() if name not in {"intent", "operation"}}
    return (
        row.alone,
        row.starts,
        row.unless,
        row.not_asked,
        row.weak,
        row.role,
        row.confidence,
        repr(sorted(act.items())),
    )


def _meaning(row: Row) -> tuple[Any, ...]:
    return (repr(row.value), row.reads, row.act.get("intent"))
