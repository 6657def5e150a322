"""What two ears together are worth: which words are taken and which values must be read back; hears nothing itself."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass
from enum import Enum
from typing import Any

from assistant.channels.voice.figures import Agreement
from dialogue.messages import Understanding

CONFIRM = "confirm"
ANSWERS = frozenset({"affirm", "deny"})
LOOSE = frozenset({"approx"})
"""Parts of a value that the ears need not agree on."""
NOTHING_SAID = frozenset({"out_of_scope", "inform"})
"""Intents that are nothing by themselves: other talk, and a statement without a value."""


class Verdict(Enum):
    """What to do with a turn."""

    ACCEPT = "accept"
    """Take it as it is."""
    READ_BACK = "read_back"
    """Take it, and read the doubtful values back."""
    YES_OR_NO = "yes_or_no"
    """One ear heard yes and the other no."""
    NOTHING = "nothing"
    """Neither understood anything."""


@dataclass(frozen=True)
class Candidate:
    """One wording that an ear may have heard, and what it means."""

    text: str
    meaning: Understanding
    likelihood: float
    """Mean logarithm of the chance of a word, by the first ear; both ears' candidates are on this scale."""
    fit: float = 0.0
    """The same by what people say to the question, whatever the sound."""

    @property
    def says_something(self) -> bool:
        """Tell whether the wording means anything here."""
        heard = self.meaning
        return bool(heard.slots or heard.operations or heard.questions or heard.intent not in NOTHING_SAID)

    def answers(self, asked: str | None) -> bool:
        """Tell whether the wording answers the question."""
        if asked is None:
            return self.says_something
        if asked == CONFIRM:
            return self.meaning.intent in ANSWERS or bool(self.meaning.slots)
        return asked in self.meaning.slots


@dataclass(frozen=True)
class Agreed:
    """What was made of a turn."""

    verdict: Verdict
    taken: Candidate | None = None
    doubted: tuple[str, ...] = ()
    """Slots whose values must be read back."""
    apart: tuple[str, ...] = ()
    """Slots in which the ears differ."""
    confidence: float = 0.0


def agree(
    first: Sequence[Candidate] | None, second: Candidate | None, *, asked: str | None, figures: Agreement
) -> Agreed:
    """Return what to do with a turn that two ears heard.

    The first ear's wordings come with the best first; None is an ear that is not there. Of its wordings that are nearly
    as likely as the best, the one is taken that answers the question, that the second ear heard too and that sounds
    most like what people say to it; an answer in words that nobody gives to it is no answer. The second ear hears an
    answer in any noise, so alone it counts only where the first ear finds its words likely, and then it is read back.
    What only one ear heard is read back, and so is what has a rival: another value that is as likely.
    """
    if first is None:
        return _alone(second)
    if first and second is not None and _contradict(first[0], second, asked):
        return Agreed(Verdict.YES_OR_NO, first[0])
    taken = _choose(first, second, asked, figures)
    if taken is None:
        return Agreed(Verdict.NOTHING)
    other: Mapping[str, Any] = second.meaning.slots if second is not None and taken is not second else {}
    slots = taken.meaning.slots
    apart = tuple(slot for slot, value in slots.items() if not same_value(value, other.get(slot, _Missing)))
    rivals = [] if taken is second else _rivals(taken, first, asked, figures)
    doubted = tuple(slot for slot in slots if slot in figures.always or slot in apart or slot in rivals)
    share = 1 - 0.5 * len(apart) / max(1, len(slots))
    verdict = Verdict.READ_BACK if doubted else Verdict.ACCEPT
    return Agreed(verdict, taken, doubted, apart, round(taken.meaning.confidence * share, 3))


def _alone(second: Candidate | None) -> Agreed:
    """Return what the second ear is worth without the first: everything is read back."""
    if second is None or not second.says_something:
        return Agreed(Verdict.NOTHING)
    slots = tuple(second.meaning.slots)
    return Agreed(Verdict.READ_BACK, second, slots, slots, second.meaning.confidence / 2)


def _choose(
    first: Sequence[Candidate], second: Candidate | None, asked: str | None, figures: Agreement
) -> Candidate | None:
    pool = [one for one in first if one.likelihood >= first[0].likelihood - figures.nearly_as_likely]
    if first and _is_talk(first[0], asked, figures):
        return first[0] if first[0].says_something and not first[0].meaning.slots else None
    heard = second if second is not None and second.answers(asked) else None
    supports = heard if heard is not None and heard.likelihood >= figures.second_supports else None

    def shared(one: Candidate) -> bool:
        return supports is not None and one is not supports and one.answers(asked) and _alike(one, supports, asked)

    def stands(one: Candidate) -> bool:
        return asked in {None, CONFIRM} or one.fit >= figures.least_fit or not one.meaning.slots or shared(one)

    answers = [one for one in pool if one.answers(asked) and stands(one)]
    if pool and pool[0] in answers and pool[0].likelihood >= figures.certain:
        return pool[0]
    if heard is not None and pool and heard.likelihood >= (figures.second_alone if asked else figures.second_unasked):
        answers.append(heard)
    if answers:
        counts = figures.fit_counts if asked else 0.0
        worth = {id(one): one.likelihood + counts * one.fit for one in answers}
        return max(answers, key=lambda one: worth[id(one)] + (figures.shared_counts if shared(one) else 0.0))
    return next((one for one in pool if one.says_something and stands(one)), None)


def _is_talk(best: Candidate, asked: str | None, figures: Agreement) -> bool:
    """Tell whether words heard for sure answer nothing, so that no other wording of them need be looked for."""
    answers = asked in {None, CONFIRM} or best.answers(asked) or bool(best.meaning.slots)
    return not answers and best.likelihood >= figures.sure and best.fit < figures.talk_fit


def _rivals(taken: Candidate, first: Sequence[Candidate], asked: str | None, figures: Agreement) -> frozenset[str]:
    """Return the slots for which an answer as likely as the taken one has another value."""
    near = [one for one in first if one.answers(asked) and one.likelihood >= taken.likelihood - figures.rival]
    slots = taken.meaning.slots
    return frozenset(
        slot for slot in slots for one in near if not same_value(slots[slot], one.meaning.slots.get(slot, slots[slot]))
    )


def _alike(one: Candidate, other: Candidate, asked: str | None) -> bool:
    if asked is None or asked == CONFIRM:
        return one.meaning.intent == other.meaning.intent and same_value(one.meaning.slots, other.meaning.slots)
    return same_value(one.meaning.slots[asked], other.meaning.slots[asked])


def _contradict(first: Candidate, second: Candidate, asked: str | None) -> bool:
    """Tell whether one ear heard yes and the other no, where it is a yes or a no that counts."""
    return asked == CONFIRM and {first.meaning.intent, second.meaning.intent} == ANSWERS


class _Missing:
    """Stands for a value that was not heard; equal to none."""


def same_value(value: Any, other: Any) -> bool:
    """Tell whether two values are the same but for how certain they are."""
    if isinstance(value, Mapping) and isinstance(other, Mapping):
        keys = (value.keys() | other.keys()) - LOOSE
        return all(same_value(value.get(key), other.get(key)) for key in keys)
    if isinstance(value, list | tuple) and isinstance(other, list | tuple):
        return _sorted(value) == _sorted(other)
    return bool(value == other)


def _sorted(values: Iterable[Any]) -> list[str]:
    return sorted(map(str, values))
