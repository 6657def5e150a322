"""The README tells the truth: every command is named, and its examples run."""

from __future__ import annotations

import json
import re
import shlex
from pathlib import Path

import pytest

from assistant.cli import COMMANDS, build_parser
from tests.assistant.command import ROOT, lines, run

README = (ROOT / "README.md").read_text(encoding="utf-8")
MAKEFILE = (ROOT / "Makefile").read_text(encoding="utf-8")


def test_every_command_is_named() -> None:
    """A new command must be told of."""
    assert [name for name in COMMANDS if f"`{name}`" not in README] == []


def test_every_make_target_in_the_text_exists() -> None:
    """`make x` in README and DEVELOPERS is a target."""
    text = README + (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")
    named = set(re.findall(r"(?:`|^)make ([a-z]+)", text, re.MULTILINE))
    targets = set(re.findall(r"^([a-z]+):", MAKEFILE, re.MULTILINE))
    assert named - targets == set()


@pytest.mark.parametrize("line", re.findall(r"^counterpull (.+?)(?:\s+#.*)?$", README, re.MULTILINE))
def test_every_shell_line_is_a_command(line: str) -> None:
    """The options in the examples exist."""
    words = shlex.split(line)
    build_parser(words).parse_args(words)


def test_the_decide_example_gives_what_it_says() -> None:
    """Facts and answer as printed."""
    example = re.search(r"echo '(\{.+?\})' \| counterpull (decide [^\n]+)", README, re.DOTALL)
    assert example
    (decision,) = lines(run(*shlex.split(example[2]), given=example[1]))
    for key, value in re.findall(r'`"(verdict|every|restring_by)": ("[^"]+")`', README):
        assert decision[key] == json.loads(value)


def test_the_consultation_example_reaches_a_verdict(tmp_path: Path) -> None:
    """What the README types at the prompt ends in a verdict."""
    said = re.findall(r"^> (.+)$", README, re.MULTILINE)
    given = "".join(json.dumps({"text": text}) + "\n" for text in said)
    answers = lines(run("talk", "--json", "--db", f"sqlite:///{tmp_path}/t.sqlite3", given=given))
    assert answers[-1]["decision"]["verdict"] in {"restring_now", "restring_soon", "play_on"}
