"""`job advise` and `job tension`: starting points with their reasons, inside the printed range, and what is missing."""

from __future__ import annotations

import sys
from pathlib import Path

import pytest

from tests.assistant.in_process import Shell, open_shell


@pytest.fixture
def shell(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Shell:
    """A shell with a database of its own."""
    return open_shell(tmp_path, monkeypatch, capsys, today="2026-11-25")


@pytest.fixture
def tag(shell: Shell) -> str:
    """The tag of a racquet that is in the shop."""
    words = ("--name", "Maya Okoro", "--level", "competitive", "--breaks-strings", "--frame", "sound")
    frame = ("--head", "98", "--pattern", "16x19", "--printed", "48-60")
    taken = shell("job", "add", *words, *frame, "--mains", "synthetic_gut", "--tension", "55", "--json")
    return str(taken.json["job"]["tag"])


def test_a_sore_arm_is_advised_softly(shell: Shell) -> None:
    """Soft strings, below the middle, with the caution."""
    told = shell("job", "advise", "--symptoms", "arm_pain", "--printed", "50-60")
    assert told.code == 0
    assert "multifilament throughout at 53 lb, anywhere between 51 and 55 lb" in told.out
    assert "no treatment" in told.out


def test_the_cards_know_player_and_frame(shell: Shell, tag: str) -> None:
    """Level, breakage and printed range are read off them; only what is noticed is open."""
    advised = shell("job", "advise", tag, "--json").json
    assert (advised["mains_material"], advised["crosses_material"]) == ("polyester", "multifilament")
    assert advised["tension_lb"] == 50
    assert [need["fact"] for need in advised["needs"]] == ["symptoms"]
    assert all(step["source"] for step in advised["trail"])


def test_what_is_said_comes_before_the_card(shell: Shell, tag: str) -> None:
    """Without broken strings a match player starts from multifilament."""
    advised = shell("job", "advise", tag, "--no-breaks-strings", "--symptoms", "--json").json
    assert advised["mains_material"] == "multifilament"
    assert advised["needs"] == []


def test_other_strings_in_the_same_racquet(shell: Shell, tag: str) -> None:
    """The tag tells the old bed: polyester goes in looser, at least two pounds either way, with what was assumed."""
    told = shell("job", "tension", tag, "--mains", "polyester", "--json").json
    assert told["mains"]["value"] < 55
    assert told["low"]["value"] <= told["mains"]["value"] - 2
    assert told["high"]["value"] >= told["mains"]["value"] + 2
    assert any("starting point" in remark for remark in told["remarks"])


def test_the_same_strings_in_a_bigger_frame(shell: Shell, tag: str) -> None:
    """More pull, cut where the new frame's printed range ends, and said so."""
    free = shell("job", "tension", tag, "--head", "107", "--json").json
    assert free["mains"]["value"] > 58
    assert free["assumed"]
    cut = shell("job", "tension", tag, "--head", "107", "--printed", "50-58")
    assert "start at 58 lb" in cut.out
    assert "the range printed on the frame comes first" in cut.out


def test_both_beds_typed(shell: Shell) -> None:
    """Nothing need be on record."""
    words = ("--was", "synthetic gut", "--was-tension", "25kg", "--was-pattern", "16x19", "--pattern", "18x20")
    told = shell("job", "tension", *words)
    assert told.code == 0
    assert "kg" in told.out
    assert "as nobody said it: 100 square inches" in told.out


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--mains", "polyester"), "--was"),
        (("--was", "polyester", "--mains", "polyester"), "--was-tension"),
        (("--was", "polyester", "--was-tension", "50"), "--was-head"),
        (("--was", "polyester", "--was-tension", "50", "--was-head", "98", "--mains", "no such string"), "catalogue"),
        (("--was", "polyester", "--was-tension", "50", "--was-head", "9", "--head", "98"), "9"),
    ],
)
def test_what_is_missing_or_cannot_be_is_named(shell: Shell, words: tuple[str, ...], says: str) -> None:
    """With the option that gives it."""
    told = shell("job", "tension", *words)
    assert told.code == 2
    assert says in told.err
    assert shell("job", "tension", *words, "--json").json["error"]["message"]


def test_an_unknown_tag_is_not_found(shell: Shell) -> None:
    """Exit code 3 for both."""
    assert shell("job", "tension", "NOPE", "--mains", "polyester").code == 3
    assert shell("job", "advise", "NOPE").code == 3


def test_without_the_physics_extra(shell: Shell, tag: str, monkeypatch: pytest.MonkeyPatch) -> None:
    """A plain word what to install; advice on strings needs none of it."""
    monkeypatch.delitem(sys.modules, "rules.stringbed_net", raising=False)
    monkeypatch.setitem(sys.modules, "numpy", None)
    told = shell("job", "tension", tag, "--mains", "polyester")
    assert told.code == 2
    assert "pip install 'counterpull[physics]'" in told.err
    assert shell("job", "advise", tag).code == 0
