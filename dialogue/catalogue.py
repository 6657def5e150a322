"""The domain as loaded from its files, and the cross-check of domain, actions and phrases; holds no wording."""

from __future__ import annotations

import ast
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from types import MappingProxyType
from typing import Any

import yaml

from dialogue.errors import DomainBroken, PhraseMissing
from dialogue.phrases import VOICE, Phrases
from dialogue.yaml_files import read_yaml

FOLDER = Path(__file__).parent / "domain"
CODE = Path(__file__).parent
COMMON_VALUES = frozenset({"owner", "racquet"})
"""What every response may name."""
ELSEWHERE = frozenset({"understanding", "counter"})
"""Packages that say nothing, or out of files of their own."""
SAYING = frozenset({"say", "say_with_choices", "phrase"})
"""The calls that name a response and its values side by side."""


@dataclass(frozen=True)
class Domain:
    """Intents, slots, forms, actions and responses, ready for use."""

    raw: Mapping[str, Any]
    """As Rasa knows a domain."""
    phrases: Phrases
    initial: Mapping[str, Any]
    """Every slot with the value a conversation begins with."""
    forms: Mapping[str, tuple[str, ...]]
    """The slots of every form."""
    actions: tuple[str, ...]


@lru_cache(maxsize=4)
def load_domain(folder: Path = FOLDER) -> Domain:
    """Return the domain of a folder.

    Raises:
        DomainBroken: when a file is no YAML or a key stands in two files.
    """
    raw: dict[str, Any] = {"responses": {}}
    for path in (folder / "domain.yml", *sorted((folder / "responses").glob("*.yml"))):
        try:
            content = read_yaml(path)
        except (OSError, yaml.YAMLError) as error:
            raise DomainBroken([f"{path.name}: cannot be read ({type(error).__name__}); mend the file"]) from error
        twice = set(content.get("responses", ())) & set(raw["responses"])
        if twice:
            raise DomainBroken([f"{path.name}: {key}: stands in another file too; remove one" for key in sorted(twice)])
        raw["responses"] |= content.pop("responses", {})
        raw |= content
    return Domain(
        raw=MappingProxyType(raw),
        phrases=Phrases(raw["responses"]),
        initial={name: slot.get("initial_value") for name, slot in raw["slots"].items()},
        forms={name: tuple(form["required_slots"]) for name, form in raw["forms"].items()},
        actions=tuple(raw["actions"]),
    )


def check_catalogue(folder: Path = FOLDER) -> list[str]:
    """Return what does not fit together, one sentence a problem; an empty list when all does.

    Every slot asked has a question, a spoken form of it, help and a reason; every action a class and the other way
    round; every response that is used exists, and every one that exists is used; every placeholder is given a value.
    """
    try:
        domain = load_domain(folder)
    except DomainBroken as broken:
        return list(broken.problems)
    except PhraseMissing as broken:
        return [f"{broken.key}: {broken.problem}"]
    uses = list(_uses())
    return [
        *_check_questions(domain),
        *_check_actions(domain),
        *_check_keys(domain, uses),
        *_check_placeholders(domain, uses),
        *_check_conditions(domain),
    ]


def _check_questions(domain: Domain) -> Iterator[str]:
    responses = domain.phrases.responses
    for form, slots in domain.forms.items():
        for slot in slots:
            if slot not in domain.initial:
                yield f"{form}: {slot}: is no slot; add it to slots"
            for kind in ("ask", "help", "why"):
                if f"utter_{kind}_{slot}" not in responses:
                    yield f"{form}: {slot}: utter_{kind}_{slot} is missing; add it"
            question = responses.get(f"utter_ask_{slot}")
            if question and not any(variant.channel == VOICE for variant in question.variants):
                yield f"utter_ask_{slot}: has no spoken form; add one with channel: voice"
    for slot in domain.forms["consultation_form"]:
        mappings = domain.raw["slots"][slot]["mappings"]
        if mappings != [{"type": "from_entity", "entity": slot}] or slot not in domain.raw["entities"]:
            yield f"slots: {slot}: must be filled from the entity of its own name"


def _check_actions(domain: Domain) -> Iterator[str]:
    from dialogue.actions import ACTIONS  # noqa: PLC0415 - the actions need the rest of the package first

    classes = {action.action for action in ACTIONS}
    for name in sorted(set(domain.actions) - classes):
        yield f"actions: {name}: no class bears this name"
    for name in sorted(classes - set(domain.actions)):
        yield f"actions: {name}: is missing in the domain; add it"


@dataclass(frozen=True)
class _Use:
    """A response key in the code: whole, or the beginning of a family of keys."""

    key: str
    family: bool
    values: frozenset[str] | None
    """The values given with it; None where they are gathered at run time."""
    where: str


def _uses() -> Iterator[_Use]:
    """Yield every response key in the code of the dialogue, with the values given beside it."""
    for path in sorted(CODE.rglob("*.py")):
        if path == Path(__file__) or ELSEWHERE & set(path.parts):
            continue
        tree = ast.parse(path.read_text(encoding="utf-8"))
        seen: set[int] = set()
        nodes = list(ast.walk(tree))
        for node in nodes:
            if isinstance(node, ast.Call):
                yield from _in_call(node, path.name, seen)
        for node in nodes:
            if id(node) not in seen:
                yield from _in_text(node, None, path.name)


def _in_call(call: ast.Call, where: str, seen: set[int]) -> Iterator[_Use]:
    """Yield the keys that stand as an argument of a call with named values, such as say(dispatcher, key, n=3)."""
    name = call.func.attr if isinstance(call.func, ast.Attribute) else getattr(call.func, "id", "")
    gathered = name not in SAYING or any(keyword.arg is None for keyword in call.keywords)
    values = frozenset(keyword.arg for keyword in call.keywords if keyword.arg)
    for argument in call.args:
        parts = [argument.body, argument.orelse] if isinstance(argument, ast.IfExp) else [argument]
        for part in parts:
            for use in _in_text(part, None if gathered else values, where):
                seen.add(id(part))
                yield use


def _in_text(node: ast.AST, values: frozenset[str] | None, where: str) -> Iterator[_Use]:
    if isinstance(node, ast.Constant) and isinstance(node.value, str) and _is_key(node.value):
        yield _Use(node.value, family=node.value.endswith("_"), values=values, where=where)
    elif isinstance(node, ast.JoinedStr) and isinstance(node.values[0], ast.Constant):
        start = str(node.values[0].value)
        if _is_key(start):
            yield _Use(start, family=True, values=values, where=where)


def _is_key(text: str) -> bool:
    return text.startswith("utter_") and len(text) > len("utter_") and text.replace("_", "").isalnum()


def _check_keys(domain: Domain, uses: list[_Use]) -> Iterator[str]:
    responses = set(domain.phrases.responses)
    whole = {use.key for use in uses if not use.family}
    families = {use.key for use in uses if use.family}
    for key in sorted(whole - responses):
        yield f"{key}: is said but is no response; add it"
    for start in sorted(families):
        if not any(key.startswith(start) for key in responses):
            yield f"{start}...: nothing begins so; add the responses"
    for key in sorted(responses - whole):
        if not any(key.startswith(start) for start in families):
            yield f"{key}: is never said; remove it"
    for key in _named_by_the_rules(domain):
        if key not in responses:
            yield f"{key}: the rulebook may need it; add it"


def _named_by_the_rules(domain: Domain) -> Iterator[str]:
    from dialogue.translate import rule_words  # noqa: PLC0415 - keeps the rules out of the import of the domain

    words = rule_words()
    yield from (f"utter_verdict_{verdict}" for verdict in words["verdict"])
    yield from (f"utter_short_{verdict}" for verdict in words["verdict"])
    yield from (f"utter_caution_{caution}" for caution in words["caution"])
    yield from (f"utter_value_{word}" for word in words["value"])
    yield from (f"utter_offer_{fact}" for fact in words["offer"])
    yield from (f"utter_ask_{fact}" for fact in domain.forms["consultation_form"])


def _check_placeholders(domain: Domain, uses: list[_Use]) -> Iterator[str]:
    for use in uses:
        if use.values is None or use.family or use.key not in domain.phrases.responses:
            continue
        for variant in domain.phrases.responses[use.key].variants:
            for name in sorted(variant.placeholders - use.values - COMMON_VALUES):
                yield f"{use.key}: {{{name}}} is not given in {use.where}; give it or take it out"


def _check_conditions(domain: Domain) -> Iterator[str]:
    for key, variants in domain.raw["responses"].items():
        for variant in variants:
            for rule in variant.get("condition", ()):
                if rule["name"] not in domain.initial:
                    yield f"{key}: the condition names {rule['name']}, which is no slot"
        if all(variant.get("condition") or variant.get("channel") for variant in variants):
            yield f"{key}: has no wording without condition and channel; add one"
