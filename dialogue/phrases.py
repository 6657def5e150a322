"""The sentences of the domain's response files and how they are filled; knows no rule and no conversation."""

from __future__ import annotations

import string
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from dialogue.errors import PhraseMissing
from dialogue.messages import Choice

VOICE = "voice"
"""The channel of a spoken variant, as Rasa names channels in a response."""
BLOCK = "block"
"""In a response's metadata: lines of this kind that follow one another stand in one paragraph, each on its own line."""
LEAD = "lead"
"""In a response's metadata: stands before the next sentence, in the same paragraph."""


@dataclass(frozen=True)
class Variant:
    """One wording of a response."""

    text: str
    channel: str | None
    conditions: tuple[tuple[str, Any], ...]
    """Slots and the values that this wording is for; none: always right."""
    placeholders: frozenset[str]

    def suits(self, slots: Mapping[str, Any]) -> bool:
        """Tell whether the wording is for this state."""
        return all(slots.get(name) == value for name, value in self.conditions)


@dataclass(frozen=True)
class Response:
    """All wordings of one key."""

    key: str
    variants: tuple[Variant, ...]
    choices: tuple[Choice, ...]
    lead: bool
    block: bool

    def pick(self, slots: Mapping[str, Any], channel: str | None, turn: int) -> Variant:
        """Return the closest wording: the channel's before the common one, the conditioned before the plain.

        Of several that suit equally well each has its turn.
        """
        ranked: dict[tuple[bool, bool], list[Variant]] = {}
        for variant in self.variants:
            if variant.channel in (None, channel) and variant.suits(slots):
                ranked.setdefault((bool(variant.conditions), variant.channel is not None), []).append(variant)
        if not ranked:
            raise PhraseMissing(self.key, "no wording suits; add one without a condition")
        best = ranked[max(ranked)]
        return best[turn % len(best)]


@dataclass(frozen=True)
class Sentence:
    """A response filled in, to show and to say."""

    text: str
    speech: str
    choices: tuple[Choice, ...]
    lead: bool
    block: bool


class Phrases:
    """Every response of the domain, ready to be filled."""

    def __init__(self, responses: Mapping[str, Sequence[Mapping[str, Any]]]) -> None:
        self.responses = {key: _response(key, variants) for key, variants in responses.items()}

    def fill(self, key: str, values: Mapping[str, Any], slots: Mapping[str, Any], turn: int = 0) -> Sentence:
        """Return a response with its values; a value may be a phrase itself: {"key": ..., values}, or a list.

        Raises:
            PhraseMissing: when there is no such key, or its sentence names a value that is not given.
        """
        response = self.responses.get(key)
        if response is None:
            raise PhraseMissing(key, "no such response; add it")
        text, speech = (self._fill(response, values, slots, (channel, turn)) for channel in (None, VOICE))
        return Sentence(text, speech, response.choices, response.lead, response.block)

    def _fill(
        self, response: Response, values: Mapping[str, Any], slots: Mapping[str, Any], how: tuple[str | None, int]
    ) -> str:
        variant = response.pick(slots, *how)
        filled = {}
        for name in variant.placeholders:
            if name not in values:
                raise PhraseMissing(response.key, f"nothing is given for {{{name}}}")
            filled[name] = self._value(values[name], slots, how)
        return variant.text.format_map(filled)

    def _value(self, value: Any, slots: Mapping[str, Any], how: tuple[str | None, int]) -> str:
        if isinstance(value, Mapping):
            response = self.responses.get(value["key"])
            if response is None:
                raise PhraseMissing(value["key"], "no such response; add it")
            return self._fill(response, value, slots, how)
        if isinstance(value, (list, tuple)):
            return self._join([self._value(part, slots, how) for part in value], slots, how)
        return str(value)

    def _join(self, parts: list[str], slots: Mapping[str, Any], how: tuple[str | None, int]) -> str:
        joined = parts[-1] if parts else ""
        for index, part in enumerate(reversed(parts[:-1])):
            join = self.responses["utter_join_more" if index else "utter_join_last"]
            joined = self._fill(join, {"first": part, "rest": joined}, slots, how)
        return joined


def sentence_case(text: str) -> str:
    """Return the text with a capital at its beginning."""
    return text[:1].upper() + text[1:]


def _placeholders(key: str, text: str) -> frozenset[str]:
    try:
        return frozenset(name for _, name, _, _ in string.Formatter().parse(text) if name)
    except ValueError as error:
        raise PhraseMissing(key, "a brace is not closed; mend the text") from error


def _response(key: str, variants: Sequence[Mapping[str, Any]]) -> Response:
    first_buttons: Sequence[Mapping[str, str]] = next((v["buttons"] for v in variants if v.get("buttons")), ())
    return Response(
        key,
        tuple(
            Variant(
                text=variant["text"],
                channel=variant.get("channel"),
                conditions=tuple((rule["name"], rule["value"]) for rule in variant.get("condition", ())),
                placeholders=_placeholders(key, variant["text"]),
            )
            for variant in variants
        ),
        tuple(Choice(button["title"], button.get("payload", button["title"])) for button in first_buttons),
        lead=any((variant.get("metadata") or {}).get(LEAD) for variant in variants),
        block=any((variant.get("metadata") or {}).get(BLOCK) for variant in variants),
    )
