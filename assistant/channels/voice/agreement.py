"""What two ears together are worth: which words are taken and which values must be read back; hears nothing itself."""

from __future__ import annotations

import math
from collections.abc import Hashable, Iterable, Mapping, Sequence
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
    likelihood: float | None
    """The logarithm of its chance by the first ear; None where that ear was not asked."""
    fit: float = 0.0
    """The same by what people say to the question, whatever the sound; above 0 where they say it more than usual."""
    foreign: float = 0.0
    """How many of its words nobody says to the question; one that stands in no cue file counts for more."""

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
    rivals: frozenset[str] = frozenset()
    """Slots for which another value is as likely."""
    clear: bool = False
    """Whether everything else, silence and other talk too, is far less likely than what is taken."""
    confidence: float = 0.0

    @property
    def settled(self) -> bool:
        """Tell whether listening once more would change nothing."""
        return self.taken is not None and (self.clear or (not self.apart and not self.rivals))


def agree(
    first: Sequence[Candidate] | None, second: Sequence[Candidate], *, asked: str | None, figures: Agreement
) -> Agreed:
    """Return what to do with a turn that two ears heard.

    Each ear's wordings come with the best first; None is a first ear that is not there. Every wording speaks for what
    it means, by how likely the first ear finds it, by how people answer the question, and by whether the second ear
    heard the same; all that mean the same speak together, silence and other talk too. What only one ear heard is read
    back, and so is what has a rival: another value that is as likely.
    """
    if first is None:
        return _alone(second[0] if second else None)
    if first and second and _contradict(first[0], second[0], asked):
        return Agreed(Verdict.YES_OR_NO, first[0])
    meant = _weigh(first, _count_support(second, asked, figures), asked, figures)
    taken = _choose(meant, first, asked, figures) or _second_alone(second, asked, figures)
    if taken is None:
        return Agreed(Verdict.NOTHING)
    slots = taken.meaning.slots
    other: Mapping[str, Any] = second[0].meaning.slots if second and taken is not second[0] else {}
    apart = tuple(slot for slot, value in slots.items() if not same_value(value, other.get(slot, _Missing)))
    rivals = _rivals(taken, meant, asked, figures)
    doubted = tuple(slot for slot in slots if slot in figures.always or slot in apart or slot in rivals)
    share = 1 - 0.5 * len(apart) / max(1, len(slots))
    verdict = Verdict.READ_BACK if doubted else Verdict.ACCEPT
    clear = _lead(meant, _key(taken, asked)) >= figures.clear
    return Agreed(verdict, taken, doubted, apart, rivals, clear, round(taken.meaning.confidence * share, 3))


def _alone(second: Candidate | None) -> Agreed:
    """Return what the second ear is worth without the first: everything is read back."""
    if second is None or not second.says_something:
        return Agreed(Verdict.NOTHING)
    slots = tuple(second.meaning.slots)
    return Agreed(Verdict.READ_BACK, second, slots, slots, confidence=second.meaning.confidence / 2)


@dataclass(frozen=True)
class _Weighed:
    """All wordings that mean the same."""

    worth: float
    best: Candidate


def _key(one: Candidate, asked: str | None) -> Hashable:
    """Return what a wording means, the same for all that mean the same; None where it says nothing."""
    if not one.says_something:
        return None
    intent = one.meaning.intent if asked is None or not one.meaning.slots else ""
    return intent, _hashable(one.meaning.slots)


def _count_support(second: Sequence[Candidate], asked: str | None, figures: Agreement) -> Mapping[Hashable, float]:
    """Return what counts for each thing that the second ear may have heard: most for its best wording."""
    support: dict[Hashable, float] = {}
    for at, one in enumerate(second):
        support.setdefault(_key(one, asked), figures.also_counts if at else figures.top_counts)
    support.pop(None, None)
    return support


def _weigh(
    pool: Sequence[Candidate], support: Mapping[Hashable, float], asked: str | None, figures: Agreement
) -> Mapping[Hashable, _Weighed]:
    """Return what may have been said, each thing with the summed chance of its wordings, as a logarithm."""
    worths: dict[Hashable, list[tuple[float, Candidate]]] = {}
    for one in pool:
        key = _key(one, asked)
        worth = (one.likelihood or 0.0) + figures.fit_counts * one.fit + support.get(key, 0.0)
        if key is None:
            worth += figures.nothing_counts
        elif not one.answers(asked):
            worth += figures.besides_counts
        worths.setdefault(key, []).append((worth, one))
    weighed = {}
    for key, found in worths.items():
        most, best = max(found, key=lambda pair: pair[0])
        weighed[key] = _Weighed(most + math.log(sum(math.exp(worth - most) for worth, _ in found)), best)
    return weighed


def _lead(meant: Mapping[Hashable, _Weighed], key: Hashable) -> float:
    """Return how far everything else lies behind one thing that may have been said."""
    if key not in meant:
        return -math.inf
    return meant[key].worth - max((one.worth for other, one in meant.items() if other != key), default=-math.inf)


def _choose(
    meant: Mapping[Hashable, _Weighed], first: Sequence[Candidate], asked: str | None, figures: Agreement
) -> Candidate | None:
    """Return the best wording of what was most likely said; None where that is nothing, or other talk."""
    if not first or not meant:
        return None
    key = max(meant, key=lambda one: meant[one].worth)
    if key is None:
        return None
    taken = meant[key].best
    slots = taken.meaning.slots
    if not slots:
        return taken
    likeliest = max(one.likelihood or 0.0 for one in first)
    if (taken.likelihood or 0.0) < likeliest - figures.behind:
        return None
    lead = meant[key].worth - meant[None].worth if None in meant else figures.most_lead
    talk = asked not in {None, CONFIRM} and _is_talk(taken, min(lead, figures.most_lead), figures)
    return None if talk else taken


def _second_alone(second: Sequence[Candidate], asked: str | None, figures: Agreement) -> Candidate | None:
    """Return the second ear's best answer where the first one, asked about it, finds it likely enough."""
    if not second or asked in {None, CONFIRM} or not second[0].answers(asked):
        return None
    likelihood = second[0].likelihood
    return second[0] if likelihood is not None and likelihood >= figures.second_alone else None


def _is_talk(taken: Candidate, lead: float, figures: Agreement) -> bool:
    """Tell whether a figure or a date stands in talk of other things.

    Anybody may say "two" or "in the spring": the more words stand around it that nobody answers with, the likelier
    than nothing it must be. An answer in words is another matter: "poly" means the string whatever stands around it.
    """
    if any(isinstance(value, str | list | tuple) for value in taken.meaning.slots.values()):
        return False
    return lead < figures.least_lead + figures.foreign_leads * taken.foreign


def _rivals(
    taken: Candidate, meant: Mapping[Hashable, _Weighed], asked: str | None, figures: Agreement
) -> frozenset[str]:
    """Return the slots for which an answer as likely as the taken one has another value."""
    found = meant.get(_key(taken, asked))
    if found is None:
        return frozenset()
    least = found.worth - figures.rival
    near = [one.best.meaning.slots for one in meant.values() if one.worth >= least and one.best.answers(asked)]
    slots = taken.meaning.slots
    return frozenset(
        slot for slot in slots for other in near if not same_value(slots[slot], other.get(slot, slots[slot]))
    )


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


def _hashable(value: Any) -> Hashable:
    """Return a value such that two that are the same are equal."""
    if isinstance(value, Mapping):
        return tuple(sorted((key, _hashable(part)) for key, part in value.items() if key not in LOOSE))
    if isinstance(value, list | tuple):
        return tuple(_sorted(value))
    return str(value)


def _sorted(values: Iterable[Any]) -> list[str]:
    return sorted(map(str, values))
