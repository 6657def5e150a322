"""What is listened for after a question: a grammar and a vocabulary from the cue files; knows no recogniser."""

from __future__ import annotations

import random
import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path
from typing import Any

import yaml

from dialogue.grammar.ngrams import Trigrams, count_trigrams
from dialogue.grammar.templates import Knows, Part, Speaker, breadth, read_template
from dialogue.understanding.cuebook import CUE_FOLDER, read_cues

FILE = "questions.yaml"
OPEN = "open"
"""What is listened for when nothing was asked."""
VALUE = ("value",)
LONGEST_VOCABULARY = 320
"""Characters; a longer one slows the ear and makes it invent."""
WORD = r"[a-z]+(?:'[a-z]+)*"
SEED = 11
BEFORE, AFTER = 0.45, 0.15
"""How often something is said before and after the answer."""
ALWAYS = 0.08
"""Share of what may be said at any time."""
MOST = 3000
"""Sentences at most, so that a question is ready in a moment."""
LEAST, PER_ALTERNATIVE, COMPOSED = 4, 2, 12
"""How often a template is said at least, more for each alternative, and more where it puts several cues together."""


@dataclass(frozen=True)
class Use:
    """Rows of a cue file that a question listens for."""

    file: str
    roles: tuple[str, ...] = VALUE


class SpokenQuestions:
    """Grammars and vocabularies of every question, made when they are first wanted."""

    def __init__(self, knows: Knows, cues: Path = CUE_FOLDER, folder: Path = Path(__file__).parent) -> None:
        self._knows = knows
        self._cues = cues
        self._table: Mapping[str, Any] = read_cues(FILE, folder)
        self._grammars: dict[tuple[str, tuple[str, ...]], tuple[Trigrams, str]] = {}

    @property
    def names(self) -> tuple[str, ...]:
        """The questions that have a grammar of their own."""
        return tuple(self._table["questions"])

    def question(self, asked: str | None) -> str:
        """Return the question whose answers are listened for when a slot was asked."""
        if asked in self._table["questions"]:
            return str(asked)
        return str(self._table["alike"].get(asked, OPEN))

    def grammar(self, asked: str | None, people: Sequence[str] = ()) -> str:
        """Return the grammar for the answers to a question (ARPA); people are the customers whose names may be said."""
        return self._grammar(asked, people)[1]

    def judge(self, words: Sequence[str], asked: str | None, people: Sequence[str] = ()) -> float:
        """Return how likely words are as an answer to a question: the mean natural logarithm of a word's chance."""
        return self._grammar(asked, people)[0].judge(words)

    def _grammar(self, asked: str | None, people: Sequence[str]) -> tuple[Trigrams, str]:
        question = self.question(asked)
        known = tuple(name.lower() for name in people) if self._table["questions"][question].get("names") else ()
        if (question, known) not in self._grammars:
            self._grammars = {key: made for key, made in self._grammars.items() if key[0] != question}
            trigrams = count_trigrams(self.sentences(question, known))
            self._grammars[question, known] = (trigrams, trigrams.to_arpa())
        return self._grammars[question, known]

    def vocabulary(self, asked: str | None, people: Sequence[str] = ()) -> str:
        """Return the words that an ear is primed with: the question's own, then first wordings of its cues."""
        question = self.question(asked)
        row = self._table["questions"][question]
        words = [self._table["common"]["prompt"], row["prompt"]]
        primed = re.sub(r"[^a-z ]", " ", row["prompt"].lower())
        fresh = [word for word in self._first_wordings(row) if f" {word} " not in f" {primed} "]
        if row.get("names") and people:
            fresh = [*people, *fresh]
        more = ""
        for word in dict.fromkeys(fresh):
            if len(" ".join(words)) + len(more) + len(word) > LONGEST_VOCABULARY:
                break
            more += f"{', ' if more else ''}{word}"
        return " ".join([*words, f"{more[:1].upper()}{more[1:]}."] if more else words)

    def words(self) -> frozenset[str]:
        """Return every word that any question may listen for, so that an ear can load what it needs and no more."""
        texts = [path.read_text(encoding="utf8") for path in sorted(self._cues.glob("*.yaml"))]
        return frozenset(re.findall(WORD, "\n".join([*texts, yaml.safe_dump(dict(self._table))]).lower()))

    # Building.

    def sentences(self, asked: str | None, people: Sequence[str] = ()) -> list[str]:
        """Return things people say to a question, drawn from the templates of its cue files."""
        question = self.question(asked)
        row, common = self._table["questions"][question], self._table["common"]
        speaker = self._speaker(question, people)
        before, after = ([speaker.sayable(one) for one in common[name]] for name in ("before", "after"))
        answers = [pair for template in row["says"] for pair in self._answers(speaker, template, row, question)]
        share = min(1.0, MOST / max(1, sum(times for _, times in answers)))
        said: list[str] = []
        for answer, times in answers:
            for _ in range(max(1, round(times * share))):
                pieces = [_maybe(speaker, before, BEFORE), speaker.say(answer), _maybe(speaker, after, AFTER)]
                said.append(" ".join(piece for piece in pieces if piece))
        always = [part for one in common["always"] if (part := speaker.sayable(one))]
        often = max(1, round(len(said) * ALWAYS / len(always)))
        return said + [speaker.say(part) for part in always for _ in range(often)]

    def _speaker(self, question: str, people: Sequence[str]) -> Speaker:
        row, numbers = self._table["questions"][question], self._table["numbers"]
        lists: dict[str, Sequence[str]] = dict(self._lists)
        for raw in row["uses"].values():
            lists |= _own_lists(self._content(raw["file"]))
        # The rows of a cue file, and what stands for numbers, are word lists like the others.
        lists |= {name: self._templates(self._use(raw), question) for name, raw in row["uses"].items()}
        lists |= {name: [said] for name, said in numbers.items() if isinstance(said, str)}
        lists |= {"number": [numbers[row["numbers"]]], "name": list(people)}
        lists |= {"digits": [" ".join([numbers["digit"]] * length) for length in numbers["phone_lengths"]]}
        figures = {**self._figures, **{figure: (word,) for figure, word in numbers["figures"].items()}}
        return Speaker(lists, self._knows, figures, numbers["counts"], random.Random(SEED))  # noqa: S311 - no secret

    def _answers(
        self, speaker: Speaker, template: str, row: Mapping[str, Any], question: str
    ) -> Iterator[tuple[Part, int]]:
        """Yield what a template says and how often; one that is nothing but a cue file gives each of its rows."""
        name = template.strip("<>")
        whole = row["uses"].get(name) if template == f"<{name}>" else None
        for one in self._templates(self._use(whole), question) if whole else [template]:
            if part := speaker.sayable(one):
                yield part, (LEAST + PER_ALTERNATIVE * breadth(part)) * (1 if whole else COMPOSED)

    def _use(self, raw: Mapping[str, Any]) -> Use:
        return Use(raw["file"], tuple(raw.get("roles", VALUE)))

    def _content(self, file: str) -> Mapping[str, Any]:
        if not (self._cues / file).exists():
            return {"rows": []}
        content: Mapping[str, Any] = read_cues(file, self._cues)
        return content

    def _rows(self, use: Use, question: str) -> Iterator[Mapping[str, Any]]:
        for row in self._content(use.file).get("rows", ()):
            asked = row.get("asked")
            fits = asked is None or question in ([asked] if isinstance(asked, str) else asked)
            if fits and row.get("role", "value") in use.roles:
                yield row

    def _templates(self, use: Use, question: str) -> list[str]:
        said = [template for row in self._rows(use, question) for template in _list_of(row["says"])]
        return said + [word for holiday in self._content(use.file).get("holidays", ()) for word in holiday["says"]]

    def _first_wordings(self, row: Mapping[str, Any]) -> Iterator[str]:
        """Yield the first wording of each row that is plain words."""
        for raw in row["uses"].values():
            use = self._use(raw)
            for cue in self._content(use.file).get("rows", ()):
                if cue.get("role", "value") not in use.roles or cue.get("readback"):
                    continue
                first = _first_words(read_template(_list_of(cue["says"])[0]))
                if first and re.fullmatch(r"[a-z ]+", first):
                    yield first

    @cached_property
    def _lists(self) -> dict[str, Sequence[str]]:
        content = self._content("words.yaml")
        return {name: [str(word) for word in words] for name, words in content.get("lists", {}).items()}

    @cached_property
    def _figures(self) -> dict[str, Sequence[str]]:
        """What the number rows write as figures, and how it is said: "1.5 hours": "an hour and a half"."""
        said: dict[str, list[str]] = {}
        for row in self._content("numbers.yaml").get("early", ()):
            if "{" not in row["gives"]:
                said.setdefault(row["gives"], []).append(row["says"])
        return {figure: tuple(ways) for figure, ways in said.items()}


def _own_lists(content: Mapping[str, Any]) -> dict[str, Sequence[str]]:
    """Return the word lists that a cue file brings along, names of relative days and months among them."""
    own = {name: [str(word) for word in words] for name, words in content.get("lists", {}).items()}
    return own | {name: list(words) for name, words in content.get("names", {}).items()}


def _maybe(speaker: Speaker, parts: Sequence[Part | None], share: float) -> str:
    chosen = speaker.chance.choice(parts) if speaker.chance.random() < share else None
    return speaker.say(chosen) if chosen else ""


def _list_of(says: Any) -> list[str]:
    return list(says) if isinstance(says, list) else [says]


def _first_words(part: Part) -> str:
    """Return the first wording of a template without its optional words; empty where a number or a list is needed."""
    if part.kind == "word":
        return part.text
    if part.kind == "choice":
        return _first_words(part.parts[0])
    if part.kind in {"maybe", "gap"}:
        return ""
    words = [(one.kind, _first_words(one)) for one in part.parts]
    if part.kind == "list" or any(not word and kind not in {"maybe", "gap"} for kind, word in words):
        return ""
    return " ".join(word for _, word in words if word)
