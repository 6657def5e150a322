"""The cue files as frozen rows and one index over them; decides nothing about a line of talk."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from functools import lru_cache
from pathlib import Path
from typing import Any

import yaml

from dialogue.understanding.errors import CueBroken
from dialogue.understanding.lines import Line
from dialogue.understanding.templates import Compiled, Compiler, TemplateWrong

CUE_FOLDER = Path(__file__).parent / "cues"
SURE = 0.95
KEYS = frozenset(
    {
        "id",
        "says",
        "value",
        "reads",
        "confidence",
        "asked",
        "not_asked",
        "alone",
        "starts",
        "readback",
        "role",
        "note",
        "blocks",
    }
    | {"unless", "weak"}
)
ACT_KEYS = frozenset(
    {
        "intent",
        "operation",
        "rank",
        "yields",
        "needs_value",
        "needs_asked",
        "needs_negated",
        "needs_denial",
        "needs_no_value",
    }
    | {"needs_question", "asked_none"}
)


@dataclass(frozen=True)
class Row:
    """One row of a cue file: what people say, and what it gives."""

    id: str
    file: str
    slot: str
    says: tuple[Compiled, ...]
    value: Any = None
    reads: str | None = None
    """Name of the converter that turns the numbers of the match into the value."""
    confidence: float = SURE
    asked: frozenset[str] = frozenset()
    """The row counts only when one of these was asked; empty: always."""
    not_asked: frozenset[str] = frozenset()
    alone: bool = False
    """The row counts only when nothing but fillers stands around it."""
    readback: str | None = None
    role: str = "value"
    """value, or what else a hit means to its stage: side, anchor, owner, negator, vague ..."""
    blocks: frozenset[str] = frozenset()
    """Slots whose values may not be read from these words."""
    unless: frozenset[str] = frozenset()
    """The row does not count in a line with any of these words."""
    starts: bool = False
    """The row counts only at the beginning, after fillers."""
    act: Mapping[str, Any] = field(default_factory=dict)
    """What only the rows of acts have: intent, operation, rank and conditions."""
    weak: bool = False
    """The row gives way to every other that reads the same words."""
    order: int = 0


@dataclass(frozen=True)
class Hit:
    """One row found in a line."""

    row: Row
    span: tuple[int, int]
    """In `Line.text`."""
    groups: Mapping[str, str | None] = field(default_factory=dict)
    words: str = ""


ONLY_BEGUN = -1
"""Stands for the beginning of a phrase that is no phrase yet."""


class CueBook:
    """All rows of some files, found quickly: plain phrases word by word, the others by words they cannot do without."""

    def __init__(self, rows: Iterable[Row]) -> None:
        self.rows = tuple(rows)
        # Strings and numbers only: a table the garbage collector need not walk.
        self._phrases: dict[str, int] = {}
        self._ends: list[tuple[Row, ...]] = []
        self._places: dict[tuple[int, ...], int] = {}
        self._by_word: dict[str, list[tuple[Row, Compiled]]] = {}
        self._always: list[tuple[Row, Compiled]] = []
        self.vocabulary: set[str] = set()
        """Every word that a phrase of the files has."""
        for row in self.rows:
            for compiled in row.says:
                if compiled.phrases is not None:
                    self._add_phrases(row, compiled.phrases)
                    self.vocabulary.update(" ".join(compiled.phrases).split())
                    continue
                if not compiled.needs:
                    self._always.append((row, compiled))
                for word in compiled.needs:
                    self._by_word.setdefault(word, []).append((row, compiled))

    def _add_phrases(self, row: Row, phrases: Iterable[str]) -> None:
        known, alone = self._phrases, self._place_of((row,))
        for phrase in phrases:
            at = phrase.rfind(" ")
            # Where one beginning is known, every shorter one is.
            while at > 0 and (begun := phrase[:at]) not in known:
                known[begun] = ONLY_BEGUN
                at = phrase.rfind(" ", 0, at)
            place = known.get(phrase, ONLY_BEGUN)
            if place == ONLY_BEGUN:
                known[phrase] = alone
            elif place != alone and self._ends[place][-1] is not row:
                known[phrase] = self._place_of((*self._ends[place], row))

    def _place_of(self, rows: tuple[Row, ...]) -> int:
        """Return where these rows stand among the ends of phrases; many phrases end in the same ones."""
        key = tuple(map(id, rows))
        if key not in self._places:
            self._places[key] = len(self._ends)
            self._ends.append(rows)
        return self._places[key]

    def compile_all(self) -> None:
        """Compile every pattern now, so that no turn has to wait for one."""
        for row in self.rows:
            for compiled in row.says:
                if compiled.phrases is None:
                    compiled.pattern  # noqa: B018 - a cached property

    def find(self, line: Line, asked: str | None) -> list[Hit]:
        """Return every place where a row fits, in reading order."""
        hits = self._find_phrases(line, asked)
        text, core = line.text, line.core
        for row, compiled in self._candidates(line.words):
            if not _counts(row, asked, line.words):
                continue
            for match in compiled.pattern.finditer(text):
                start, end = match.span()
                if row.starts and start > core[0]:
                    break
                if start < end and _fits(row, (start, end), core):
                    hits.append(Hit(row, (start, end), match.groupdict(), match[0]))
        hits.sort(key=lambda hit: (hit.span[0], -hit.span[1]))
        return hits

    def _find_phrases(self, line: Line, asked: str | None) -> list[Hit]:
        words = [token.word for token in line.tokens]
        starts = [*line.starts, len(line.text)]
        hits = []
        for first in range(len(words)):
            said, at = words[first], first + 1
            ends: dict[str, tuple[Row, int]] = {}
            while (found := self._phrases.get(said)) is not None:
                if found != ONLY_BEGUN:
                    ends.update((row.id, (row, at)) for row in self._ends[found])
                if at == len(words):
                    break
                said, at = f"{said} {words[at]}", at + 1
            for row, last in ends.values():
                span = (starts[first], starts[last])
                if _counts(row, asked, line.words) and _fits(row, span, line.core):
                    hits.append(Hit(row, span, {}, line.text[span[0] : span[1]]))
        return hits

    def _candidates(self, words: frozenset[str]) -> Iterator[tuple[Row, Compiled]]:
        yield from self._always
        seen: set[int] = set()
        for word in words:
            for pair in self._by_word.get(word, ()):
                if id(pair[1]) not in seen:
                    seen.add(id(pair[1]))
                    yield pair


def _counts(row: Row, asked: str | None, words: frozenset[str]) -> bool:
    return (not row.asked or asked in row.asked) and asked not in row.not_asked and row.unless.isdisjoint(words)


def _fits(row: Row, span: tuple[int, int], core: tuple[int, int]) -> bool:
    if row.alone and (span[0] > core[0] or span[1] < core[1]):
        return False
    return not (row.starts and span[0] > core[0])


def read_cues(name: str, folder: Path = CUE_FOLDER) -> Any:
    """Return the content of one cue file.

    Raises:
        CueBroken: when the file is missing or is no YAML.
    """
    return _read(folder / name, name)


@lru_cache(maxsize=64)
def _read(path: Path, name: str) -> Any:
    try:
        return yaml.load(path.read_text(encoding="utf8"), Loader=_Loader)  # noqa: S506 - a safe loader
    except OSError as problem:
        raise CueBroken(name, "file", f"cannot be read ({problem.strerror}); put it back") from problem
    except yaml.YAMLError as problem:
        where = getattr(problem, "problem_mark", None)
        raise CueBroken(name, f"line {where.line + 1 if where else '?'}", f"is no YAML ({problem})") from problem


class _Loader(getattr(yaml, "CSafeLoader", yaml.SafeLoader)):  # type: ignore[misc]
    """YAML in which yes, no, on and off are the words people say."""


_Loader.yaml_implicit_resolvers = {
    letter: [
        (tag, pattern)
        for tag, pattern in resolvers
        if tag not in {"tag:yaml.org,2002:bool", "tag:yaml.org,2002:timestamp"}
    ]
    for letter, resolvers in _Loader.yaml_implicit_resolvers.items()
}
_Loader.add_implicit_resolver("tag:yaml.org,2002:bool", re.compile("^(?:true|false)$"), list("tf"))


def read_rows(name: str, compiler: Compiler, folder: Path = CUE_FOLDER) -> tuple[Row, ...]:
    """Return the rows of a cue file.

    Raises:
        CueBroken: naming the file, the row and what to do.
    """
    rows = []
    for outcome in read_row_list(name, compiler, folder):
        if isinstance(outcome, CueBroken):
            raise outcome
        rows.append(outcome)
    return tuple(rows)


def read_row_list(name: str, compiler: Compiler, folder: Path = CUE_FOLDER) -> Iterator[Row | CueBroken]:
    """Yield the rows of a cue file, and what is wrong with those that cannot be used."""
    try:
        content = read_cues(name, folder)
    except CueBroken as broken:
        yield broken
        return
    if not isinstance(content, Mapping) or not isinstance(content.get("rows"), list):
        yield CueBroken(name, "file", "needs `slot:` and a list `rows:`")
        return
    seen: set[str] = set()
    for order, raw in enumerate(content["rows"]):
        try:
            row = _row(name, str(content.get("slot", "")), raw, (order, compiler))
        except CueBroken as broken:
            yield broken
            continue
        if row.id in seen:
            yield CueBroken(name, row.id, "two rows bear this id; rename one")
        seen.add(row.id)
        yield row


def _row(file: str, slot: str, raw: Any, place: tuple[int, Compiler]) -> Row:
    order, compiler = place
    if not isinstance(raw, Mapping) or not isinstance(raw.get("id"), str):
        raise CueBroken(file, f"row {order + 1}", "needs an `id:`")
    name = raw["id"]
    allowed = KEYS | ACT_KEYS if "intent" in raw else KEYS
    if unknown := set(raw) - allowed:
        raise CueBroken(file, name, f"has unknown keys {sorted(unknown)}; use {sorted(allowed)}")
    says = raw.get("says")
    templates: Sequence[Any] = says if isinstance(says, list) else [says]
    if not templates or not all(isinstance(template, str) for template in templates):
        raise CueBroken(file, name, "needs `says:` with one template or a list of them (quote numbers and true/false)")
    confidence = raw.get("confidence", SURE)
    if not isinstance(confidence, (int, float)) or not 0 < confidence <= 1:
        raise CueBroken(file, name, f"has confidence {confidence!r}; give a number above 0 and at most 1")
    compiled = []
    for template in templates:
        try:
            compiled.append(compiler.compile(template))
        except TemplateWrong as wrong:
            raise CueBroken(file, name, f"says {template!r}: {wrong}") from wrong
    return Row(
        id=f"{slot}.{name}" if slot else name,
        file=file,
        slot=slot,
        says=tuple(compiled),
        value=raw.get("value"),
        reads=raw.get("reads"),
        confidence=float(confidence),
        asked=_names(raw.get("asked")),
        not_asked=_names(raw.get("not_asked")),
        alone=bool(raw.get("alone", False)),
        readback=raw.get("readback"),
        role=raw.get("role", "value"),
        blocks=_names(raw.get("blocks")),
        unless=_names(raw.get("unless")),
        weak=bool(raw.get("weak", False)),
        starts=bool(raw.get("starts", False)),
        act={key: raw[key] for key in ACT_KEYS if key in raw},
        order=order,
    )


def _names(value: Any) -> frozenset[str]:
    if value is None:
        return frozenset()
    return frozenset({value}) if isinstance(value, str) else frozenset(value)
