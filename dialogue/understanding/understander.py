"""The stages in their order, from a text to what it means; holds no wording and decides no value itself."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping, Sequence
from collections.abc import Set as AbstractSet
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

from dialogue.messages import Understanding
from dialogue.understanding.acts import CORRECT, OUT_OF_SCOPE, Act, Acts, Sighting
from dialogue.understanding.asked import read_asked
from dialogue.understanding.commit import Committed, commit
from dialogue.understanding.cuebook import CUE_FOLDER, CueBook, Hit, Row, read_cues, read_rows
from dialogue.understanding.cues import Scan, numeric_pool, read_plain, read_symptoms, settle
from dialogue.understanding.customers import CustomerWords, read_choice, read_name, read_phone
from dialogue.understanding.dates import DIRECTIONS, DatesRead, date_lists, read_date_words, read_dates
from dialogue.understanding.explain import stages_after, stages_before, unmatched
from dialogue.understanding.found import Found, overlaps
from dialogue.understanding.frames import Frames
from dialogue.understanding.guard import Guard, Guarded
from dialogue.understanding.lines import SHORTEST_GUESSED, Line, Spelling, read_line
from dialogue.understanding.numbers import Numbers, number_forms
from dialogue.understanding.readings import ReadingWords, read_readings, speaks_of_readings
from dialogue.understanding.repair import Repaired, Repairer
from dialogue.understanding.sides import TensionLimits, read_materials, read_tensions
from dialogue.understanding.soft_acts import soft_words
from dialogue.understanding.sound_alikes import SoundAlikes
from dialogue.understanding.suggestions import Suggestions
from dialogue.understanding.templates import Compiler
from dialogue.understanding.wanted import read_wanted

ROW_FILES = (
    "plays_per_week.yaml", "hours.yaml", "level.yaml", "season.yaml", "sport.yaml", "racquet_count.yaml",
    "hybrid.yaml", "breaks_strings.yaml", "symptoms.yaml", "materials.yaml", "sides.yaml", "tension.yaml",
    "readings.yaml", "customer.yaml", "owners.yaml", "negation.yaml", "dates.yaml",
    "printed_range.yaml", "same_as.yaml",
    "acts_questions.yaml", "acts_counter.yaml", "acts_bench.yaml", "acts_answers.yaml", "acts_flow.yaml",
    "acts_advice.yaml", "frames.yaml",
)  # fmt: skip
VOICE = "voice"
SAID_OF_STRINGING = "sure"
"""Value of the row whose words can only mean a tension."""
SMALL_TALK = "act.small_talk"
"""The cue of what is said across a counter to pass the time: a day in it is no answer."""
SURE_ENOUGH = 0.7
DENIABLE = frozenset({"symptoms", "breaks_strings"})
DENIED_WHOLE = frozenset({"label_due", "league_start", "reading", "baseline"})
"""Slots that "no" empties: there is no label, no league, no reading."""
READING_ASKED = frozenset({"reading", "baseline"})
READ_OFF = frozenset(f"reading.{way}_{unit}" for way in ("said", "checked") for unit in ("pounds", "kilos"))
"""The rows of a figure in a unit of tensions that was read off an instrument."""


@dataclass(frozen=True)
class Turn:
    """What is known of a turn besides its words."""

    today: dt.date
    asked: str | None = None
    """The slot just asked about, "confirm" after a read-back, or None."""
    channel: str = "typed"
    names: Sequence[str] = ()
    """Customers on record, to tell a name by its sound."""
    explain: bool = False


@dataclass(frozen=True)
class Read:
    """All that was seen in one line."""

    guarded: Guarded
    repaired: Repaired
    line: Line
    scan: Scan
    found: tuple[Found, ...]
    impossible: tuple[str, ...]


class Understander:
    """The language of the counter, loaded once from the cue files."""

    def __init__(self, folder: Path = CUE_FOLDER) -> None:
        self._folder = folder
        words = read_cues("words.yaml", folder)
        self.compiler = read_lists(folder)
        dates = read_date_words(self.compiler, folder)
        rows: list[Row] = [row for name in ROW_FILES for row in read_rows(name, self.compiler, folder)]
        self.book = CueBook([*(_as_date(row) for row in rows), *dates.rows])
        self.names = dates.names
        self.guard = Guard(folder)
        counting = Compiler(_lists(folder))
        self.numbers = Numbers(counting, folder)
        said = self.compiler.words | counting.words
        self.spelling = _spelling(words, self.book.vocabulary, said, folder)
        self.acts = Acts(folder)
        self.limits = TensionLimits.read(folder)
        self.reading_words = ReadingWords(folder)
        self.frames = Frames(folder)
        self.customer_words = CustomerWords(self.book.vocabulary, folder)
        self.topic = frozenset(words["topic"])
        self.beside_a_date = frozenset(words["beside_a_date"])
        self.suggestions = Suggestions(folder)
        self.sound_alikes = SoundAlikes(folder)

    @cached_property
    def repairer(self) -> Repairer:
        """The repairs of what a recogniser misheard, which a typed talk never needs."""
        return Repairer(self._folder)

    def prepare(self) -> None:
        """Load what a turn would else load when it comes to it."""
        self.repairer  # noqa: B018 - a cached property
        self.book.compile_all()

    def understand(self, text: str, turn: Turn) -> Understanding:
        """Return what a turn means; any text at all has an answer."""
        read = self.read(text, turn)
        vague = self._vague(read)
        act = self._act(read, vague=vague)
        emptied = _emptied(act, turn.asked, read.found)
        found = [one for one in read.found if one.slot not in emptied]
        committed = commit(read.scan, found, read.repaired, correcting=act.intent == CORRECT)
        result = self._result(read, act, committed, vague)
        if not turn.explain:
            return result
        before = stages_before(read.guarded, read.repaired, read.line)
        return replace(result, stages=before + stages_after(read.scan, read.found, act, committed))

    def read(self, text: str, turn: Turn) -> Read:
        """Return everything the stages before the decision see."""
        guarded = self.guard.clean(text)
        repaired = self.repairer.repair(guarded.text) if turn.channel == VOICE else Repaired(guarded.text)
        line = self.numbers.read(read_line(repaired.text, self.spelling, typed=turn.channel != VOICE))
        scan = Scan.of(self.book, line, turn.asked)
        if {"foreign", "script", "noise"} & set(guarded.flags):
            return Read(guarded, repaired, line, scan, (), ())
        found, impossible = self._values(scan, guarded, turn)
        return Read(guarded, repaired, line, scan, tuple(_owned(scan, found)), impossible)

    def _values(self, scan: Scan, guarded: Guarded, turn: Turn) -> tuple[list[Found], tuple[str, ...]]:
        of_readings = speaks_of_readings(scan, self.reading_words)
        pool = [hit for hit in numeric_pool(scan) if not (of_readings and _gives_way(hit, scan))]
        settled = settle(scan, pool)
        dates: DatesRead = read_dates(scan, settled, self.names, turn.today)
        used = [hit for hit in settled if hit.row.slot != "date" or hit.row.reads != "slashed_pair"]
        found = read_plain(scan, settled)
        materials = read_materials(scan)
        found += materials or self.sound_alikes.read(scan)
        badminton = any(one.slot == "sport" and one.value == "badminton" for one in found)
        found += read_tensions(scan, settled, self.limits, badminton=badminton)
        found += dates.found
        found += read_asked(scan, used, {one.slot for one in found}, self.limits)
        found += read_symptoms(scan)
        if of_readings:
            found += read_readings(scan, used)
        found += [
            Found("reading_kind", hit.row.value, hit.span, hit.row.id, hit.row.confidence)
            for hit in scan.role("reading", "kind_answer")[:1]
        ]
        if not set(guarded.flags) & {"sql", "markup", "code"}:
            found += read_phone(scan, self.customer_words) if scan.asked == "customer_phone" or not found else []
            found += read_name(scan, turn.names, self.customer_words)
        found += read_choice(scan)
        found += read_wanted(scan, self.limits)
        found += self.frames.read(scan)
        return found, dates.impossible

    def _vague(self, read: Read) -> list[Hit]:
        return [
            hit
            for hits in read.scan.hits.values()
            for hit in hits
            if hit.row.role in {"vague", "dead"} and not read.scan.blocked(hit.row.slot, hit.span)
        ]

    def _act(self, read: Read, *, vague: list[Hit]) -> Act:
        seen = Sighting(
            slots=frozenset(one.slot for one in read.found),
            negated=bool(read.scan.negated),
            replaced=read.scan.replaces,
            denied=_denied(read),
            vague=bool(vague) or bool(read.impossible),
            flags=frozenset(read.guarded.flags),
            on_topic=self._on_topic(read.line, read.scan.asked) or self._only_a_date(read.scan),
        )
        return self.acts.decide(read.scan, seen)

    def _on_topic(self, line: Line, asked: str | None) -> bool:
        """Tell whether a turn without a value still seems to be an answer."""
        if asked is None or "?" in line.words:
            return False
        words = [token.word for token in line.tokens if token.word.isalpha()]
        known = sum(word in self.book.vocabulary for word in words)
        return bool(line.words & self.topic) or (known > 1 and known * 3 >= len(words) * 2)

    def _only_a_date(self, scan: Scan) -> bool:
        """Tell whether a date is all there is in a turn that answers no question."""
        dates = [hit.span for hit in scan.hits.get("date", ()) if hit.row.role == "value"]
        places = zip(scan.line.tokens, scan.line.starts, strict=True)
        rest = {token.word for token, at in places if not any(start <= at < end for start, end in dates)}
        return scan.asked is None and bool(dates) and rest <= self.beside_a_date

    def _result(self, read: Read, act: Act, committed: Committed, vague: list[Hit]) -> Understanding:
        questions = [*committed.questions, *(f"impossible_date:{slot}" for slot in read.impossible)]
        if any(hit.row.role == "dead" for hit in read.scan.role("symptoms", "dead")):
            questions.append("dead_means")
        asked = read.scan.asked
        if asked and asked not in committed.slots and any(hit.row.role == "vague" for hit in vague):
            questions.append(f"vague:{asked}")
        return Understanding(
            text=read.repaired.text,
            intent=act.intent,
            confidence=act.confidence,
            slots=committed.slots,
            evidence=committed.evidence,
            rule=act.rule,
            operations=act.operations,
            questions=tuple(questions),
            suggestions=self.suggestions.offer(read.repaired.text, read.scan.asked) if _lost(act, committed) else (),
            unmatched=unmatched(read.scan),
        )


def _denied(read: Read) -> bool:
    """Tell whether the answer to a question about symptoms or broken strings is a plain no."""
    answers = [one for one in read.found if one.slot == read.scan.asked and one.slot in DENIABLE]
    return bool(answers) and max(answers, key=lambda one: one.confidence).value in ([], False)


def _emptied(act: Act, asked: str | None, found: Sequence[Found]) -> frozenset[str]:
    """Return the slots an act leaves empty: what was denied, dates in a question about many, a sport in chatter."""
    if act.intent == "deny" and asked in DENIED_WHOLE:
        # "No, 37" denies another figure, not that there is one.
        figure = asked in READING_ASKED and any(one.slot == asked for one in found)
        return frozenset() if figure else frozenset({str(asked)})
    if act.intent == OUT_OF_SCOPE:
        return frozenset({"sport", *DIRECTIONS}) if act.rule == SMALL_TALK else frozenset({"sport"})
    return frozenset(DIRECTIONS) if act.intent == "ask_due_list" else frozenset()


def _spelling(words: Mapping[str, Any], vocabulary: AbstractSet[str], said: AbstractSet[str], folder: Path) -> Spelling:
    """Return how single words are read: by the word file, and by what every other file knows and says."""
    own = (str(word) for name in ("topic", "guessed") for word in words[name])
    numbers = read_cues("numbers.yaml", folder)
    others = (*read_cues("guard.yaml", folder)["stop_words"], *numbers["cardinals"], *numbers["ordinals"])
    soft = (word for phrase in soft_words(folder) for word in phrase.split())
    # The listed words first: of several one slip away the first is taken.
    targets = dict.fromkeys([*words["guessed"], *sorted({*vocabulary, *own, *others, *soft})])
    by_letter: dict[str, list[str]] = {}
    for word in targets:
        if len(word) >= SHORTEST_GUESSED - 1 and word.isalpha():
            by_letter.setdefault(word[0], []).append(word)
    return Spelling(
        fillers=frozenset(words["fillers"]),
        meant={str(said): tuple(str(meant).split()) for said, meant in words["spellings"].items()},
        marks=words["marks"],
        clause_words=frozenset(words["clause_words"]),
        figures=frozenset(numbers["cardinals"]) - {numbers["pronoun"]},
        guessed={letter: tuple(found) for letter, found in by_letter.items()},
        known=frozenset({*targets, *words["common"], *said}),
    )


def read_lists(folder: Path = CUE_FOLDER) -> Compiler:
    """Return the compiler of templates with every word list of the cue files and the forms words take."""
    spellings = read_cues("words.yaml", folder)["spellings"]
    forms = {str(said): (str(meant),) for said, meant in spellings.items()}
    return Compiler(_lists(folder), {**forms, **number_forms(folder)})


def _lists(folder: Path) -> dict[str, Sequence[str]]:
    lists: dict[str, Sequence[str]] = {**read_cues("words.yaml", folder)["lists"], **date_lists(folder)}
    for name in (*ROW_FILES, "numbers.yaml"):
        lists.update(read_cues(name, folder).get("lists", {}))
    return lists


def _as_date(row: Row) -> Row:
    return replace(row, slot="date", id=f"date.{row.id}") if row.file == "dates.yaml" else row


def _gives_way(hit: Hit, scan: Scan) -> bool:
    """Tell whether a tension gives way in talk of readings."""
    if hit.row.slot != "tension":
        return False
    in_pounds = any(kind.row.id == "reading.pounds" for kind in scan.role("reading", "kind"))
    if any(kind.row.id in READ_OFF and overlaps(kind.span, hit.span) for kind in scan.role("reading", "kind")):
        return True
    bare = hit.row.reads in {"bare", "pair"} and hit.row.value != SAID_OF_STRINGING
    return bare or in_pounds or scan.asked in READING_ASKED


def _owned(scan: Scan, found: Sequence[Found]) -> list[Found]:
    """Return the values in reading order, each with its owner."""
    return [replace(one, owner=scan.owner_of(one.span)) for one in sorted(found, key=lambda found: found.span)]


def _lost(act: Act, committed: Committed) -> bool:
    """Tell whether a turn was not understood well enough to go on without offering choices."""
    return act.confidence < SURE_ENOUGH and not committed.slots
