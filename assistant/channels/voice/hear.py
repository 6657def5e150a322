"""One stretch of speech to what it means: both ears at once, understood, and agreed on; holds no conversation."""

from __future__ import annotations

import datetime as dt
import time
from collections.abc import Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field
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
        agreed = agree(
            [self._candidate(text, score, question) for text, score in first.wordings] if first else None,
            self._second(first, second, question),
            asked=question.asked,
            figures=self._figures,
        )
        taken = agreed.taken
        return Hearing(
            text=taken.text if taken else first.text if first else second.text if second else "",
            second=second.text if first is not None and second is not None else None,
            agreed=agreed,
            meaning=taken.meaning if taken and agreed.verdict is not Verdict.NOTHING else None,
            seconds=time.perf_counter() - begun,
            ears=heard,
        )

    def _candidate(self, text: str, likelihood: float, question: Question) -> Candidate:
        asked = READ_AS.get(question.asked or "", question.asked)
        meaning = self._understand(text, asked=asked, channel=CHANNEL, today=question.today, names=question.people)
        candidate = Candidate(text, meaning, likelihood, self._fit(text, meaning, question))
        if not candidate.answers(question.asked) and (choice := _choice(text, question.choices)):
            chosen = Understanding(choice, "inform", meaning.confidence, {question.asked or "choice": choice})
            return Candidate(choice, chosen, likelihood)
        return candidate

    def _fit(self, text: str, meaning: Understanding, question: Question) -> float:
        """Return how likely words are as an answer, to what was asked or to what they answer instead."""
        if self.ears.questions is None:
            return 0.0
        words, judge = say_numbers(text).split(), self.ears.questions.judge
        instead = (judge(words, slot, question.people) for slot in meaning.slots if slot != question.asked)
        return max([judge(words, question.asked, question.named), *instead])

    def _second(self, first: Heard | None, second: Heard | None, question: Question) -> Candidate | None:
        """Return what the second ear heard, as likely as the first one finds it."""
        if second is None or not second.text:
            return None
        judged = self.ears.first.judge(first, second.text) if first is not None and self.ears.first else 0.0
        return self._candidate(second.text, judged, question)

    def prepare(self, question: Question) -> None:
        """Make the ears ready for a question while it is still being spoken."""
        self._pool.submit(self._prepare, question)

    def _prepare(self, question: Question) -> None:
        if self.ears.second is not None:
            self.ears.second.prepare(question.asked, question.named)
        if not self._warm:
            # The cue files are read with the first words; better while the opening is spoken than after an answer.
            self._warm = True
            self._candidate("yes", 0.0, question)

    def close(self) -> None:
        """Let the threads go."""
        self._pool.shutdown(wait=True, cancel_futures=True)


def _choice(text: str, choices: Sequence[str]) -> str | None:
    """Return the choice that a text names, or None."""
    found = process.extractOne(text, choices, processor=default_process, score_cutoff=ALIKE) if choices else None
    return found[0] if found else None


def _hear(ear: Ear, audio: AudioData, question: Question) -> Heard:
    return ear.hear(audio, question.asked, question.named)
