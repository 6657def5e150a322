"""`understand`: a line in, what was understood out, for whoever tunes the wording."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.assistant.in_process import Shell, open_shell


@pytest.fixture
def shell(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Shell:
    """A shell in November."""
    return open_shell(tmp_path, monkeypatch, capsys)


def test_plain_lines_are_answered_in_plain_lines(shell: Shell) -> None:
    """The line itself, what is meant with how sure that is, and each value; an empty line is passed over."""
    ran = shell("understand", given="full bed of poly\n\nwhy?\n")
    assert ran.code == 0
    assert ran.out.splitlines() == [
        "full bed of poly",
        "  inform (0.95)",
        '  mains_material: "polyester"',
        '  crosses_material: "polyester"',
        "why?",
        "  ask_why (0.95)",
    ]


def test_what_was_not_understood_comes_with_what_may_be_said(shell: Shell) -> None:
    """Suggestions stand below, as the talk would give them."""
    ran = shell("understand", "--json", given="the moon over the lake\n")
    assert ran.json["intent"] == "out_of_scope"
    assert ran.json["slots"] == {}
    plain = shell("understand", given="the moon over the lake\n")
    assert f"  suggestions: {', '.join(ran.json['suggestions'])}" in plain.out.splitlines()


@pytest.mark.parametrize(
    ("asked", "slots"), [("plays_per_week", {"plays_per_week": 2}), ("racquet_count", {"racquet_count": 2})]
)
def test_a_bare_figure_answers_what_was_asked(shell: Shell, asked: str, slots: dict[str, int]) -> None:
    """By the option for plain lines, and by the line's own `asked` in JSON."""
    assert shell("understand", "--asked", asked, "--json", given="2\n").json["slots"] == slots
    line = {"id": 7, "text": "two", "asked": asked, "channel": "voice"}
    heard = shell("understand", "--json", given=line).json
    assert (heard["id"], heard["slots"]) == (7, slots)


def test_a_line_may_be_taken_as_heard(shell: Shell) -> None:
    """Ears hear "too" for "two"; fingers do not type it."""
    heard = shell("understand", "--asked", "plays_per_week", "--channel", "voice", "--json", given="too times\n")
    assert heard.json["slots"] == {"plays_per_week": 2}


def test_each_stage_is_shown_on_demand(shell: Shell) -> None:
    """In words and in JSON, the same stages in the same order, each with what it saw."""
    asked = ("understand", "--explain")
    stages = dict(shell(*asked, "--json", given="strung in march\n").json["stages"])
    assert list(stages) == ["guard", "repair", "numbers", "cues", "candidates", "act", "commit"]
    assert stages["commit"]["slots"] == {"strung_on": {"value": "2026-03", "approx": True}}
    assert {seen["words"] for seen in stages["cues"] if seen["rule"] == "date.month"} == {"in march"}
    plain = shell(*asked, given="strung in march\n").out.splitlines()
    shown = [line for line in plain if line.startswith("  [")]
    assert [line.split("]")[0].removeprefix("  [") for line in shown] == list(stages)
    assert json.loads(shown[-1].split("] ", 1)[1]) == stages["commit"]


def test_a_line_that_is_no_utterance_is_answered_with_what_to_do(shell: Shell) -> None:
    """JSON that is none, or without a text; the lines after it are still answered."""
    ran = shell("understand", "--json", given='{bad\n{"x": 1}\n[1]\n{"text": "why?", "asked": 3}\n')
    assert ran.code == 0
    broken, empty, bracket, last = ran.lines
    assert broken["error"]["fact"] == "utterance"
    assert "not JSON" in broken["error"]["message"]
    assert empty["error"]["fact"] == "text"
    assert '{"text": "twice a week"' in empty["error"]["message"]
    assert bracket["intent"] == "out_of_scope"
    assert last["intent"] == "ask_why"
