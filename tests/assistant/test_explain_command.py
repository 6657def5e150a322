"""`explain` from the shell: for facts on standard input, and for consultations on record with their own rulebook."""

from __future__ import annotations

import json
from pathlib import Path

import pytest

from tests.assistant.in_process import Shell, open_shell

FUN = {
    "level": "recreational",
    "plays_per_week": 3,
    "mains_material": "synthetic_gut",
    "crosses_material": "synthetic_gut",
    "strung_on": "2026-08-31",
}


@pytest.fixture
def shell(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Shell:
    """A shell with a database of its own."""
    return open_shell(tmp_path, monkeypatch, capsys)


@pytest.mark.parametrize(
    ("options", "says"),
    [
        (("--depth", "customer"), "Play on: these strings are good until 31 December 2026 (every four months)."),
        ((), "Strung on 31 August 2026, every four months: that is 31 December 2026."),
        (
            ("--depth", "trainee"),
            "It read: it is played for fun; this bed is synthetic gut; how often it is played: three times a week.",
        ),
        (("--why-not", "restring_now"), "the date by the chart, 31 December 2026, is still ahead."),
        (
            ("--why-not", "later"),
            "It would be 31 August 2027 with a stringbed of natural gut; but this bed is synthetic gut.",
        ),
        (("--change", "verdict"), "Played four times a week instead of three times a week: restring soon"),
        (("--change", "date"), "Played five times in two weeks instead of three times a week: by 25 January 2027"),
        (("--sources",), "a stringers' association's advice in hours of play, quoted second-hand"),
    ],
)
def test_each_question_has_its_answer(shell: Shell, options: tuple[str, ...], says: str) -> None:
    """In words, and as JSON with the same lines."""
    told = shell("explain", *options, given=FUN)
    assert told.code == 0
    assert says in told.out
    (data,) = shell("explain", *options, "--json", given=FUN).json.values()
    assert says in json.dumps(data, ensure_ascii=False)


def test_several_questions_at_once(shell: Shell) -> None:
    """Each part of the answer by its name."""
    options = ("--depth", "customer", "--why-not", "later", "--change", "date", "--sources", "--json")
    assert set(shell("explain", *options, given=FUN).json) == {"explanation", "why_not", "change", "sources"}


def test_what_cannot_be_explained_is_refused(shell: Shell) -> None:
    """A bad fact with its name, another verdict than there is, an unknown consultation."""
    bad = shell("explain", "--json", given={"plays_per_week": 40})
    assert bad.code == 2
    assert bad.json["error"]["fact"] == "plays_per_week"
    assert "must be from 0 to 21" in shell("explain", given={"plays_per_week": 40}).err
    assert shell("explain", given="no json").code == 2
    assert shell("explain", "--why-not", "maybe", given=FUN).code == 2
    assert shell("explain", "--id", "7").code == 3


def test_nothing_known_is_explained_too(shell: Shell) -> None:
    """The first thing that is missing, and why."""
    assert "There is no answer yet, for whether" in shell("explain", "--depth", "customer", given={}).out


def test_a_consultation_on_record_is_explained_by_its_own_rulebook(shell: Shell) -> None:
    """The stored answer, on its own day."""
    shell("demo")
    told = shell("explain", "--id", "1", "--depth", "trainee", today="2027-06-01")
    stored = shell("decide", "--replay", "1").json
    assert f"Edition of the rulebook: {stored['rulebook']}." in told.out
    for step in stored["trail"]:
        assert step["says"] in told.out


def test_lines_are_answered_one_for_one(shell: Shell) -> None:
    """A bad line among good ones answers with its error; the others go on."""
    given = "\n".join([json.dumps(FUN), '{"level": "casual"}', json.dumps(FUN)])
    ran = shell("explain", "--json", given=given)
    assert ran.code == 2
    assert [set(line) for line in ran.lines] == [{"explanation"}, {"error"}, {"explanation"}]
