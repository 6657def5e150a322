"""What a turn brings in: values by owner, with what must be read back or contradicts; knows no rule and no phrase."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import asdict, dataclass, replace
from functools import lru_cache
from typing import Any

from rasa_sdk.events import SlotSet

from dialogue.messages import Message, Understanding
from dialogue.racquets import FACTS, SELF, SPEAKER, THIRD, known_facts, owner_label
from dialogue.tracker import Event, Talk

SURE = 0.9
"""From here on a value is kept at once and said back with the next question."""
GUESS = 0.5
"""From here on a value is read back before it is kept; below, it is not even that."""
NO_VALUE_INTENTS = frozenset({"ask_what_if", "restart", "stop"})
"""What is said with these is a supposition or goes with the wind."""
HEARD_DIFFERENTLY = "heard_differently"
"""Why a value must be read back that the ears are not sure of."""
DOUBTFUL = "doubtful"
"""Why a baseline must be read back that these strings can hardly have read."""
YEAR_MOVED = "year_moved"
DATES = frozenset({"strung_on", "label_due", "league_start"})
DATED_QUESTIONS = frozenset({"ask_guarantee", "ask_due_list", "ask_why", "out_of_scope"})
"""A date in one of these belongs to what is asked: "will it last till January?"."""
CONTRADICTION = "contradiction:"
BACK_QUESTIONS: Mapping[str, tuple[str, str]] = {
    "dead_means": ("symptoms", "utter_ask_back_dead"),
    "contradiction": ("", "utter_ask_back_contradiction"),
}
"""What understanding wants asked back: the slot the answer fills and the response that asks."""
WORD = r"[a-z']+"
KEPT_SLOTS = frozenset(
    {*FACTS, "customer_name", "customer_phone", "customer_email", "racquet_count", "reading_kind"}
    | {"promised_on", "frame_check", "printed_range", "same_as", "racquet_name", "seen_by", "wish", "advise"}
    | {"same_feel", "why_not", "product_choice", "tension_step", "declines", "forgets"}
    | {"head_size", "pattern", "gauge"}
)
"""What is kept of what was said: the facts of a racquet, and what belongs to the conversation."""
UNNOTED = frozenset(
    {"customer_name", "racquet_name", "wish", "advise", "same_feel", "why_not", "product_choice", "forgets"}
)
"""What is not said back: the answer that follows names it."""


@dataclass(frozen=True)
class Claim:
    """One value that somebody stated."""

    slot: str
    value: Any
    words: str
    owner: str | None = None
    why: str | None = None
    """Why it must be read back before it is kept; None: it need not be."""
    says: str | None = None
    """What is wrong with it, as a sentence, where it can hardly be."""
    product: Mapping[str, Any] | None = None
    """The shop's product that a material was said as."""

    def to_json(self) -> dict[str, Any]:
        """Return the claim in the form it waits in."""
        return asdict(self)

    @classmethod
    def from_json(cls, data: Mapping[str, Any]) -> Claim:
        """Return the claim that waited, without how often it was read back."""
        told = (data.get(name) for name in ("owner", "why", "says", "product"))
        return cls(data["slot"], data["value"], data["words"], *told)


def parse_data(heard: Understanding, message: Message, *, today: str, asked: str | None = None) -> dict[str, Any]:
    """Return what was understood as Rasa hands it from the message to the actions."""
    entities = [
        {
            "entity": piece.slot,
            "value": piece.value,
            "start": piece.span[0],
            "end": piece.span[1],
            "role": piece.owner,
            "extractor": piece.rule,
            "confidence_entity": piece.confidence,
            "words": piece.words,
            "readback": piece.readback or (HEARD_DIFFERENTLY if piece.slot in message.doubted else None),
            "product": piece.product,
        }
        for piece in heard.evidence
    ]
    shown = {piece.slot for piece in heard.evidence}
    entities += [
        {"entity": slot, "value": value, "confidence_entity": heard.confidence, "role": None, "words": heard.text}
        for slot, value in heard.slots.items()
        if slot not in shown
    ]
    return {
        "text": heard.text,
        "intent": {"name": heard.intent, "confidence": heard.confidence},
        "entities": entities,
        "operations": list(heard.operations),
        "questions": list(heard.questions),
        "suggestions": list(heard.suggestions),
        "rule": heard.rule,
        "metadata": {"today": today, "channel": message.channel, "asked": asked},
    }


def intent_of(message: Mapping[str, Any]) -> str:
    """Return the intent of a message."""
    return str((message.get("intent") or {}).get("name") or "")


def claims(message: Mapping[str, Any]) -> tuple[Claim, ...]:
    """Return every value of a message worth keeping or reading back, in the order said."""
    passing = _passing(message)
    found: dict[tuple[str, str | None], Claim] = {}
    for entity in message.get("entities", ()):
        slot, confidence = entity["entity"], entity.get("confidence_entity") or 0.0
        if slot not in KEPT_SLOTS or slot in passing or confidence < GUESS:
            continue
        owner = owner_label(entity.get("role")) or _speaker(message, entity)
        why = _doubt(entity) or (None if confidence >= SURE else "unsure")
        words, product = entity.get("words") or "", entity.get("product")
        claim = Claim(slot, _stated(slot, entity["value"]), words, owner, why, product=product)
        found[slot, owner] = _with_symptoms(found.get((slot, owner)), claim) if slot == "symptoms" else claim
    return tuple(found.values())


def _stated(slot: str, value: Any) -> Any:
    """Return a value as the facts hold it: of a reading taken several times its figures, not their mean too."""
    if slot in {"reading", "baseline"} and isinstance(value, Mapping) and "values" in value:
        return {name: part for name, part in value.items() if name != "value"}
    return value


def _doubt(entity: Mapping[str, Any]) -> str | None:
    """Return why a value must be read back, if understanding says so: not a year that was said in so many words."""
    value = entity["value"]
    year = str(value["value"] if isinstance(value, Mapping) and "value" in value else value)[:4]
    if entity.get("readback") == YEAR_MOVED and year in str(entity.get("words")):
        return None
    return entity.get("readback")


def _passing(message: Mapping[str, Any]) -> set[str]:
    """Return the slots whose values are not kept: contradictory ones, and dates that belong to a question."""
    asked_back = {
        question.removeprefix(CONTRADICTION)
        for question in message.get("questions", ())
        if question.startswith(CONTRADICTION)
    }
    intent = intent_of(message)
    if intent in DATED_QUESTIONS:
        return asked_back | DATES
    # "The one from May" names a racquet to fetch, but "strung in May" answers when it was strung.
    of_errand = {"pickup": DATES, "drop_off": frozenset({"strung_on"})}.get(intent, frozenset())
    return asked_back | (of_errand - {message["metadata"]["asked"]})


def answers_the_question(message: Mapping[str, Any]) -> bool:
    """Tell whether a message fills the slot that was asked for."""
    asked = message["metadata"]["asked"]
    return asked is not None and any(claim.slot == asked for claim in claims(message))


def asks_back(message: Mapping[str, Any]) -> bool:
    """Tell whether understanding wants to know which of two things was meant."""
    return any(question.partition(":")[0] in BACK_QUESTIONS for question in message.get("questions", ()))


def _with_symptoms(earlier: Claim | None, claim: Claim) -> Claim:
    """Return the symptoms said so far with one or several more."""
    more = claim.value if isinstance(claim.value, list) else [claim.value]
    if earlier is None:
        return replace(claim, value=more)
    words = f"{earlier.words}, {claim.words}"
    return replace(earlier, value=list(dict.fromkeys([*earlier.value, *more])), words=words)


def _speaker(message: Mapping[str, Any], entity: Mapping[str, Any]) -> str | None:
    """Return whom the last pronoun up to a value means: the speaker, somebody else, or nobody where there is none."""
    return _last_named(str(message.get("text", ""))[: entity.get("end") or 0])


@lru_cache(maxsize=256)  # a turn's policy asks for its values again and again
def _last_named(text: str) -> str | None:
    said = f" {' '.join(re.findall(WORD, text.casefold()))} "
    last = {who: max(said.rfind(f" {words} ") for words in SPEAKER[who]) for who in SPEAKER}
    if last[SELF] == last[THIRD]:
        return None
    return SELF if last[SELF] > last[THIRD] else THIRD


def brings_values(message: Mapping[str, Any]) -> bool:
    """Tell whether a message states anything that may be kept."""
    return intent_of(message) not in NO_VALUE_INTENTS and bool(claims(message))


def by_owner(found: Sequence[Claim]) -> list[tuple[str | None, list[Claim]]]:
    """Return the claims grouped by owner in the order the owners are named.

    What is said without an owner goes with the only owner named in the same breath, if there is just one.
    """
    owners = list(dict.fromkeys(claim.owner for claim in found))
    named = [owner for owner in owners if owner is not None]
    groups = {owner: [claim for claim in found if claim.owner == owner] for owner in owners}
    if len(named) == 1 and named[0] != SELF and None in groups:
        mine, theirs = ({claim.slot for claim in groups[owner]} for owner in (None, named[0]))
        if not mine & theirs:
            return [(named[0], list(found))]
        # Said twice, once of somebody else: the first of them speaks of the speaker's own.
        groups = {SELF if owner is None else owner: group for owner, group in groups.items()}
    return list(groups.items())


def contradicts(claim: Claim, talk: Talk) -> bool:
    """Tell whether a claim says otherwise than what is known, without being a correction or an answer to a question."""
    slots = talk.slots
    known = slots.get(claim.slot)
    if known is None or claim.slot == slots["requested_slot"] or intent_of(talk.latest_message) == "correct":
        return False
    if same(claim.slot, known, claim.value, slots) or _filled_with_the_mains(claim.slot, slots):
        return False
    if claim.slot in DATES:
        return not _finer(known, claim.value)
    if claim.slot in {"reading", "baseline", "symptoms"}:
        return claim.slot == "symptoms" and not (known and claim.value)
    return claim.slot in FACTS


def same(slot: str, known: Any, value: Any, slots: Mapping[str, Any]) -> bool:
    """Tell whether two values of a slot mean the same."""
    if slot.startswith("crosses_"):
        side = slot.removeprefix("crosses_")
        known, value = (slots[f"mains_{side}"] if each == "same_as_mains" else each for each in (known, value))
    return bool(known == value)


def _filled_with_the_mains(slot: str, slots: Mapping[str, Any]) -> bool:
    """Tell whether the crosses were only filled in with the mains, so that a word on them alone is news."""
    return slot in {"crosses_material", "crosses_tension"} and same(
        slot, slots[slot], slots[slot.replace("crosses", "mains")], slots
    )


def _finer(known: Any, value: Any) -> bool:
    """Tell whether a date only says an inexact one more exactly."""
    before, after = (each["value"] if isinstance(each, Mapping) else each for each in (known, value))
    return bool(isinstance(known, Mapping) and known.get("approx") and str(after).startswith(str(before)))


def merged(claim: Claim, talk: Talk) -> Any:
    """Return the value to keep: a further symptom joins those already named."""
    known = talk.slots.get("symptoms")
    if claim.slot == "symptoms" and known and claim.value and intent_of(talk.latest_message) != "correct":
        return list(dict.fromkeys([*known, *claim.value]))
    return claim.value


def kept(talk: Talk, said: Sequence[Claim], before: Mapping[str, Any]) -> list[Event]:
    """Return the events that follow from values just kept: their words, what was noted, and an outdated decision."""
    slots = talk.slots
    changed = [claim for claim in said if slots[claim.slot] != before.get(claim.slot)]
    key = slots["racquet_key"]
    noted = [{"slot": claim.slot, "old": before.get(claim.slot), "racquet": key} for claim in changed]
    noted = [*slots["noted"], *noted]
    events = [SlotSet("noted", noted)]
    if any(claim.slot in FACTS for claim in said):
        words = {claim.slot: claim.words for claim in said if claim.words}
        known = {claim.slot for claim in said if slots[claim.slot] is not None}
        events += [
            SlotSet("words", {**slots["words"], **words}),
            SlotSet("unknown", [name for name in slots["unknown"] if name not in known]),
        ]
    if any(claim.slot in FACTS for claim in changed):
        events += outdated()
    # Whether a name was an answer shows only when somebody is found under it.
    if any(claim.slot != "customer_name" for claim in changed):
        events.append(SlotSet("failures", 0))
    return events


def outdated() -> list[Event]:
    """Return the events that make the present racquet be decided anew."""
    return [SlotSet("decision", None), SlotSet("told", False)]


def facts_now(slots: Mapping[str, Any]) -> dict[str, Any]:
    """Return the facts of the present racquet as JSON."""
    return known_facts(slots)
