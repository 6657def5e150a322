"""Practice from the shell: two hundred exercises by a script, marked as `decide` decides; the schedule outlives it."""

from __future__ import annotations

import datetime as dt
import json
import random
import subprocess
import sys
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import pytest

from dialogue.practice.course import Course
from dialogue.practice.schedule import plan_next, recall_of
from rules.chain import decide
from rules.evaluator import PlainEngine
from rules.exercises import Answer, Exercise
from rules.intake import parse_facts
from rules.rulebook import load_book
from storage.database import open_store
from tests.assistant.command import ROOT, lines, run
from tests.assistant.in_process import TODAY, Shell, open_shell

DAY = dt.date.fromisoformat(TODAY)
NOON = dt.datetime(2026, 11, 24, 12, tzinfo=dt.UTC)
EXERCISES = 200


@pytest.fixture
def shell(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Shell:
    """A shell with a database of its own."""
    return open_shell(tmp_path, monkeypatch, capsys)


def solve(exercise: Exercise) -> Answer:
    """Return what the rulebook decides, found without the marking."""
    book = load_book()
    facts = parse_facts(exercise.facts, today=exercise.today, limits=book.limits)
    decision = decide(facts, book, PlainEngine())
    fired = [step.row for step in decision.trail if step.table == exercise.table]
    return Answer(decision.verdict.value, decision.restring_by, next(row for row in fired if row in exercise.choices))


def spoil(answer: Answer, exercise: Exercise, part: str) -> Answer:
    """Return the answer with one part wrong."""
    parts: dict[str, Any] = {"verdict": answer.verdict, "date": answer.date, "reason": answer.reason}
    parts[part] = {
        "verdict": "play_on" if answer.verdict != "play_on" else "restring_now",
        "date": dt.date(2001, 1, 1),
        "reason": next(row for row in exercise.choices if row != answer.reason),
    }[part]
    return Answer(**parts)


def test_two_hundred_exercises_through_the_command(tmp_path: Path) -> None:
    """Three processes on three days, one database: each mark agrees with the command `decide`, and nothing is lost."""
    url, chance = f"sqlite:///{tmp_path / 'shop.sqlite3'}", random.Random(7)  # noqa: S311
    taken: list[Taken] = []
    for days, count in ((0, 90), (9, 60), (30, 50)):
        today = DAY + dt.timedelta(days=days)
        with open_store(url) as store:
            waiting = Course(store, load_book(), "ida", today).next().to_dict()
        fresh = practise(url, today, count, chance)
        assert fresh[0].exercise == waiting, "a new process goes on where the last one ended"
        taken += fresh
        progress = lines(run(*SCRIPT, "--progress", "--db", url, "--today", today.isoformat()))[0]
        assert progress["answered"] == len(taken)
        assert progress["right"] == sum(one.marked["right"] for one in taken)
    assert len(taken) == EXERCISES
    for one, decided in zip(taken, decide_each([one.exercise for one in taken]), strict=True):
        fired = [step["row"] for step in decided["trail"] if step["table"] == one.exercise["table"]]
        reason = next(row for row in fired if row in one.exercise["choices"])
        right = {"verdict": decided["verdict"], "date": decided["restring_by"], "reason": reason}
        assert one.marked["expected"] == right
        for part, value in right.items():
            assert one.marked[part] == (one.answer[part] == value)
        assert one.marked["right"] == (one.answer == right)


SCRIPT = ("practise", "--json", "--trainee", "ida")


@dataclass(frozen=True)
class Taken:
    """One exercise with what was answered and how it was marked, all as JSON."""

    exercise: dict[str, Any]
    answer: dict[str, Any]
    marked: dict[str, Any]


def practise(url: str, today: dt.date, count: int, chance: random.Random) -> list[Taken]:
    """Answer so many exercises of one process, a third of them with a part wrong."""
    given = [sys.executable, "-m", "assistant", *SCRIPT, "--count", str(count), "--db", url]
    taken = []
    with subprocess.Popen(
        [*given, "--today", today.isoformat()], stdin=subprocess.PIPE, stdout=subprocess.PIPE, cwd=ROOT, text=True
    ) as process:
        assert process.stdin
        assert process.stdout
        exercise = json.loads(process.stdout.readline())["exercise"]
        while exercise:
            put = Exercise(
                "", exercise["table"], "", exercise["facts"], dt.date.fromisoformat(exercise["today"]),
                tuple(exercise["choices"]),
            )  # fmt: skip
            right = solve(put)
            wrong = chance.choice(["verdict", "date", "reason", None, None, None, None, None, None])
            said = spoil(right, put, wrong) if wrong else right
            day = said.date and said.date.isoformat()
            answer = {"verdict": said.verdict, "date": day, "reason": said.reason}
            process.stdin.write(json.dumps(answer) + "\n")
            process.stdin.flush()
            told = json.loads(process.stdout.readline())
            taken.append(Taken(exercise, answer, told["marked"]))
            exercise = told.get("exercise")
    assert process.returncode == 0
    return taken


def decide_each(exercises: list[dict[str, Any]]) -> list[dict[str, Any]]:
    """Return what the command `decide` answers to each exercise on its day."""
    given = "\n".join(json.dumps({**one["facts"], "today": one["today"]}) for one in exercises)
    return lines(run("decide", given=given))


def test_a_weak_row_comes_back_first(tmp_path: Path) -> None:
    """Missed today, it is asked again after other rows the same day, and known well it waits for days."""
    with open_store(f"sqlite:///{tmp_path / 'shop.sqlite3'}") as store:
        course = Course(store, load_book(), "ida", DAY, "reading")
        first = course.next()
        course.mark(first, spoil(solve(first), first, "reason"))
        asked = []
        for _ in range(4):
            exercise = course.next()
            asked.append(exercise.row)
            course.mark(exercise, solve(exercise))
        assert first.row in asked
        weakest = course.progress().rows[0]
        assert (weakest.row, weakest.asked > weakest.known) == (first.row, True)


def test_memory_fades_and_grows() -> None:
    """Known again and again the waits grow; missed it comes within the hour; recall falls with the days."""
    state, at, waits = None, NOON, []
    for _ in range(5):
        planned = plan_next(state, at, known=True)
        waits.append((planned.due_at - at).total_seconds())
        state, at = json.loads(json.dumps(planned.state)), planned.due_at
    assert waits == sorted(waits)
    assert waits[-1] > 5 * 86_400
    missed = plan_next(state, at, known=False)
    assert missed.due_at - at < dt.timedelta(hours=1)
    assert recall_of(missed.state, at + dt.timedelta(days=30)) < recall_of(missed.state, at + dt.timedelta(days=1)) <= 1


def test_a_script_practises_in_json_lines(tmp_path: Path) -> None:
    """An exercise a line out, an answer a line in; a bad line is answered with its error and the exercise stays."""
    url = f"sqlite:///{tmp_path / 'shop.sqlite3'}"
    answer = {"verdict": "play_on", "date": None, "reason": "verdict-broken"}
    given = "\n".join(json.dumps(one) for one in ("hello", {"verdict": "maybe"}, {**answer, "date": "soon"}, answer))
    done = run("practise", "--json", "--count", "1", "--trainee", "ida", "--db", url, "--today", TODAY, given=given)
    exercise, *errors, marked = lines(done)
    assert done.returncode == 0
    assert set(exercise["exercise"]) == {"table", "facts", "today", "choices"}
    assert [set(error) for error in errors] == [{"error"}] * 3
    assert set(marked["marked"]) == {"verdict", "date", "reason", "right", "expected", "rows", "lines"}
    facts = exercise["exercise"]["facts"]
    decided = lines(run("decide", "--today", exercise["exercise"]["today"], given=json.dumps(facts)))[0]
    assert marked["marked"]["expected"]["verdict"] == decided["verdict"]
    assert marked["marked"]["expected"]["date"] == decided["restring_by"]
    kept = lines(run("practise", "--log", "--json", "--db", url))[0]["answers"]
    assert [(one["trainee"], one["answer"]["verdict"]) for one in kept] == [("ida", "play_on")]


def test_somebody_practises_at_a_terminal(shell: Shell) -> None:
    """Numbers for verdict and reason, a day or a dash; what cannot be is asked again; an empty line ends."""
    ran = shell("practise", "--trainee", "ida", given="9\n1\nsoon\n2026-12-01\nx\n1\n\n")
    assert ran.code == 0
    assert "Please answer with one of the numbers." in ran.out
    assert "That is no day" in ran.out
    assert ran.out.rstrip().endswith("of 1 with every part right.")
    assert "{" not in ran.out
    assert "ida: 1 exercises" in shell("practise", "--trainee", "ida", "--progress").out
    assert "2026-11-24  ida" in shell("practise", "--log").out


def test_a_table_alone_and_one_that_is_none(shell: Shell) -> None:
    """Only its rows; an unknown one names those there are."""
    found = shell("practise", "--table", "label", "--progress", "--json").json
    assert {row["row"] for row in found["rows"]} == {row.id for row in load_book().tables["label"].rows}
    ran = shell("practise", "--table", "colours")
    assert ran.code == 2
    assert "stringbed" in ran.err
    assert "Nobody has practised yet." in shell("practise", "--log").out
