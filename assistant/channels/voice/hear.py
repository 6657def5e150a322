"""One stretch of speech to what it means: both ears at once, understood, and agreed on; holds no conversation."""

from __future__ import annotations

import datetime as dt
import time
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from typing import Protocol

from rapidfuzz import process
from rapidfuzz.utils import default_process
from speech_recognition import AudioData

from assistant.channels.voice.agreement import Agreed, Candidate, Verdict, agree
from assistant.channels.voice.ears import Ear, Ears, Heard
from assistant.channels.voice.figures import read_figures
from assistant.channels.voice.speakable import say_numbers
from dialogue.messages import Understanding

CHANNEL = "voice"
ALIKE = 88
"""How alike, of a hundred, what was heard must be to a choice to be taken for it."""
CHOSEN = frozenset({"group"})
"""Questions that are answered in the shop's own words, which stand on the screen as choices and in no file."""
LAST_MARKS = ".,! "
READ_AS = {"promised_on": "league_start"}
"""Questions whose answers are read like those to another one, as the conversation reads them."""


class Understand(Protocol):
    """What reads the words of a turn."""

    def __call__(
        self, text: str, *, asked: str | None, channel: str, today: dt.date, names: Sequence[str] = ()
    ) -> Understanding:
        """Return what a text means to somebody who was asked something."""


@dataclass(frozen=True)
class Question:
    """What the ears listen for."""

    asked: str | None
    today: dt.date
    people: Sequence[str] = ()
    """Customers on record, whose names may be said."""
    choices: Sequence[str] = ()
    """Answers that stand on the screen: said word for word, one of them is chosen."""

    @property
    def named(self) -> Sequence[str]:
        """Names, or words of the shop's own, that may be said here and that no file holds."""
        return self.choices if self.asked in CHOSEN else self.people


@dataclass(frozen=True)
class Hearing:
    """What one stretch of speech came to."""

    text: str
    """The words that are taken."""
    second: str | None
    """What the second ear heard; None where there is only one ear."""
    agreed: Agreed
    meaning: Understanding | None
    """What the words mean; None where nothing was understood."""
    seconds: float
    """From the end of the sound to this."""
    ears: dict[str, Heard] = field(default_factory=dict)

    @property
    def complete(self) -> bool:
        """Tell whether the answer is whole and sure, so that nobody need wait for more of it."""
        return self.agreed.verdict is Verdict.ACCEPT and self.meaning is not None


class Listener:
    """Both ears and the understanding of one process; may be asked from any thread."""

    def __init__(self, ears: Ears, understand: Understand) -> None:
        self.ears = ears
        self._understand = understand
        self._figures = read_figures().agreement
        self._words = ears.questions.words() if ears.questions else frozenset()
        self._warm = False
        self._pool = ThreadPoolExecutor(max_workers=3, thread_name_prefix="ear")

    def hear(self, audio: AudioData, question: Question) -> Hearing:
        """Return what was said in answer to a question."""
        begun = time.perf_counter()
        running: dict[str, Future[Heard]] = {}
        for ear in (self.ears.second, self.ears.first):
            if ear is not None:
                running[ear.name] = self._pool.submit(_hear, ear, audio, question)
        heard = {name: future.result() for name, future in running.items()}
        first = heard[self.ears.first.name] if self.ears.first else None
        second = heard[self.ears.second.name] if self.ears.second else None
        agreed = self._agree(first, second, question)
        taken = agreed.taken
        return Hearing(
            text=taken.text if taken else first.text if first else second.text if second else "",
            second=second.text if first is not None and second is not None else None,
            agreed=agreed,
            meaning=taken.meaning if taken and agreed.verdict is not Verdict.NOTHING else None,
            seconds=time.perf_counter() - begun,
            ears=heard,
        )

    def _agree(self, first: Heard | None, second: Heard | None, question: Question) -> Agreed:
        """Return what the ears agree on; where they do not, the first one hears once more and judges the second."""
        read = _Reader(self._read, question)
        others = read.candidates([(text, None) for text, _ in second.wordings]) if second else []
        if first is None or self.ears.first is None:
            return agree(None, others, asked=question.asked, figures=self._figures)
        agreed = agree(read.candidates(first.wordings), others, asked=question.asked, figures=self._figures)
        if agreed.settled or first.sound is None or not first.wordings:
            return agreed
        pool = read.candidates(self.ears.first.hear_again(first.sound, question.asked, question.named))
        agreed = agree(pool, others, asked=question.asked, figures=self._figures)
        if agreed.verdict is Verdict.NOTHING and others and others[0].answers(question.asked):
            likelihood = self.ears.first.judge(first.sound, others[0].text)
            others[0] = replace(others[0], likelihood=likelihood)
            agreed = agree(pool, others, asked=question.asked, figures=self._figures)
        return agreed

    def _read(self, text: str, question: Question) -> Candidate:
        """Return what a text means and how people's answers to the question are like it."""
        asked = READ_AS.get(question.asked or "", question.asked)
        meaning = self._understand(text, asked=asked, channel=CHANNEL, today=question.today, names=question.people)
        fit, foreign = self._fit(text, meaning, question)
        candidate = Candidate(text, meaning, None, fit, foreign)
        if not candidate.answers(question.asked) and (choice := _choice(text, question.choices)):
            chosen = Understanding(choice, "inform", meaning.confidence, {question.asked or "choice": choice})
            return Candidate(choice, chosen, None)
        return candidate

    def _fit(self, text: str, meaning: Understanding, question: Question) -> tuple[float, float]:
        """Return how likely words are as an answer, and how foreign to it.

        The answer is to what was asked, or to what they answer instead if that is likelier.
        """
        if self.ears.questions is None:
            return 0.0, 0.0
        words, weigh, least = say_numbers(text).split(), self.ears.questions.weigh, self._figures.foreign_word
        ways = [weigh(words, question.asked, question.named)]
        ways += [weigh(words, slot, question.people) for slot in meaning.slots if slot != question.asked]
        best = max(ways, key=sum)
        strange = sum(word not in self._words for word in words)
        foreign = sum(one < least for one in best) + self._figures.strange_word * strange
        return sum(max(one, least) - self._figures.usual_word for one in best), foreign

    def prepare(self, question: Question) -> None:
        """Make the ears ready for a question while it is still being spoken."""
        self._pool.submit(self._prepare, question)

    def _prepare(self, question: Question) -> None:
        if self.ears.second is not None:
            self.ears.second.prepare(question.asked, question.named)
        if not self._warm:
            # The cue files are read with the first words; better while the opening is spoken than after an answer.
            self._warm = True
            self._read("yes", question)

    def close(self) -> None:
        """Let the threads go."""
        self._pool.shutdown(wait=True, cancel_futures=True)


class _Reader:
    """The wordings of one stretch of speech, each of them read once."""

    def __init__(self, read: Callable[[str, Question], Candidate], question: Question) -> None:
        self.question = question
        self._read = read
        self._known: dict[str, Candidate] = {}

    def candidates(self, wordings: Iterable[tuple[str, float | None]]) -> list[Candidate]:
        """Return wordings with what they mean; those that differ in capitals or in their last mark mean the same."""
        found = []
        for text, likelihood in wordings:
            key = text.casefold().rstrip(LAST_MARKS)
            if key not in self._known:
                self._known[key] = self._read(text, self.question)
            found.append(replace(self._known[key], likelihood=likelihood))
        return found


def _choice(text: str, choices: Sequence[str]) -> str | None:
    """Return the choice that a text names, or None."""
    found = process.extractOne(text, choices, processor=default_process, score_cutoff=ALIKE) if choices else None
    return found[0] if found else None


def _hear(ear: Ear, audio: AudioData, question: Question) -> Heard:
    return ear.hear(audio, question.asked, question.named)
