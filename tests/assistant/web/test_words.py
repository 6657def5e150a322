"""The screens' texts and figures: each one that a screen names exists, each that exists is named."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import Any

import pytest
import yaml

from assistant.channels.web.pages import build_environment
from assistant.channels.web.wording import FOLDER, figure, load_limits, load_words, throttling

NAMED_BY_VALUE = ("terms", "faults", "forms", "verdicts")
"""Words that are looked up by a value, such as a status, not by a name in a template."""
BY_VALUE = (
    "board.done_",
    "racquet.status_",
    "card.by",
    "card.was",
    "card.window",
    "what_if.recreational",
    "what_if.competitive",
    "racquet.incomplete",
    "racquet.not_found",
    "racquet.wait",
    "sign_in.wrong",
    "sign_in.wait",
    "drop_off.mains",
    "drop_off.crosses",
    "board.bench",
    "board.due",
    "board.drop_off",
    "board.find",
    "board.leagues",
)


def sources() -> str:
    """Return all templates and modules of the channel in one text."""
    files = [*FOLDER.rglob("*.html"), *FOLDER.rglob("*.py")]
    return "\n".join(path.read_text("utf-8") for path in files)


def flat(node: Any, path: str = "") -> Iterator[str]:
    """Yield every text's dotted name."""
    if isinstance(node, Mapping):
        for name, inner in node.items():
            yield from flat(inner, f"{path}.{name}".lstrip("."))
    else:
        yield path


def test_every_template_compiles() -> None:
    """A slip in one is found before a customer finds it."""
    environment = build_environment()
    names = environment.list_templates()
    assert len(names) > 15
    for name in names:
        environment.get_template(name)


def test_every_word_a_template_names_exists() -> None:
    """`w.page.name` and so on, looked up in words.yaml; none may be hidden by a mapping's own method."""
    words = load_words()
    for path in FOLDER.rglob("*.html"):
        for group, name in re.findall(r"\bw\.(\w+)\.(\w+)", path.read_text("utf-8")):
            assert group in words, f"{path.name}: w.{group}"
            assert name in words[group], f"{path.name}: w.{group}.{name}"
            assert not hasattr({}, name), f"{path.name}: w.{group}.{name} is a method"


def test_every_word_is_named_somewhere() -> None:
    """A text that no screen shows is taken out."""
    text, unused = sources(), []
    for name in flat({group: inner for group, inner in load_words().items() if group not in NAMED_BY_VALUE}):
        group, leaf = name.split(".")[:2]
        named = f"w.{group}.{leaf}" in text or f'["{group}"]["{leaf}"]' in text or name.startswith(BY_VALUE)
        local = re.search(rf'\["{leaf}"\]|"{leaf}"', text)
        if not (named or local):
            unused.append(name)
    assert not unused


def test_every_figure_and_throttle_is_read_and_has_a_source() -> None:
    """Numbers people argue about stand in one file, with a unit."""
    text = sources()
    for name, entry in load_limits()["figures"].items():
        assert f"figure('{name}')" in text or f'figure("{name}")' in text, name
        assert entry["unit"]
        assert entry["source"]
        assert figure(name) > 0
    for name, entry in load_limits()["throttles"].items():
        assert f'throttling("{name}")' in text or f"{name}=" in text or f'"{name}":' in text, name
        assert entry["source"]
        assert throttling(name).attempts > 0


def test_templates_hold_no_sentences_of_their_own() -> None:
    """Letters between tags come from words.yaml or from the shop."""
    for path in FOLDER.rglob("*.html"):
        text = re.sub(r"(?s)\{#.*?#\}|\{%.*?%\}|\{\{.*?\}\}|<[^>]*>", " ", path.read_text("utf-8"))
        left = set(re.findall(r"[A-Za-z]{3,}", text))
        assert not left, f"{path.name}: {sorted(left)}"


@pytest.mark.parametrize("name", ["words.yaml", "limits.yaml"])
def test_no_key_stands_twice(name: str) -> None:
    """YAML takes the last one without a word."""
    node = yaml.compose(Path(FOLDER / name).read_text("utf-8"))

    def check(node: yaml.Node) -> None:
        if isinstance(node, yaml.MappingNode):
            keys = [key.value for key, _ in node.value]
            assert len(keys) == len(set(keys)), keys
            for _, inner in node.value:
                check(inner)

    assert node
    check(node)
