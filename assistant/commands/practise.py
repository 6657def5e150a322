"""`practise`: exercises for a trainee, typed or in JSON lines; progress by row, and a log for whoever trains."""

from __future__ import annotations

import argparse
import datetime as dt
import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from assistant.desk import Desk, add_shared, at_desk
from assistant.exits import CommandError, Exit
from assistant.json_lines import parse_json, write_line
from assistant.settings import Settings

if TYPE_CHECKING:
    from dialogue.practice.course import Course, Progress

VERDICTS = ("restring_now", "restring_soon", "play_on", "need_more")
NO_DAY = "-"
MARKED = {True: "good", False: "bad", None: "not_asked"}


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of this command."""
    add_shared(parser)
    parser.add_argument("--trainee", metavar="NAME", default="trainee", help="whose course it is (default: trainee)")
    parser.add_argument("--count", metavar="N", type=int, help="end after so many exercises")
    parser.add_argument("--table", metavar="NAME", help="only rows of one table, such as verdict or reading")
    parser.add_argument("--progress", action="store_true", help="how far the trainee has come, row by row")
    parser.add_argument("--log", action="store_true", help="every answer, of all trainees, for whoever trains")


def run(options: argparse.Namespace, settings: Settings) -> Exit:
    """Practise until the count, the end of the input or an empty line."""
    from dialogue.practice.course import Course

    with at_desk(options, settings) as desk:
        if options.log:
            return _log(desk)
        course = Course(desk.counter.store, desk.counter.book, options.trainee, settings.today, options.table)
        if not course.rows:
            tables = ", ".join(dict.fromkeys(desk.counter.book.row(row).table for row in course.exercises.rows))
            raise CommandError(desk.counter.wording.say("practice.table", table=options.table, tables=tables))
        if options.progress:
            progress = course.progress()
            desk.show(progress, _progress_lines(desk, progress))
        elif options.json:
            _run_json(course, desk, options.count)
        else:
            _run_text(course, desk, options.count)
    return Exit.DONE


def _run_json(course: Course, desk: Desk, count: int | None) -> None:
    """Give an exercise a line, take an answer a line; a bad line is answered with its error and asked again."""
    done = 0
    exercise = course.next()
    write_line({"exercise": exercise.to_dict()})
    for raw in sys.stdin.buffer:
        if not raw.strip():
            continue
        entry = parse_json(raw)
        answer = None if entry.problem else _read_answer(entry.value)
        if answer is None:
            message = entry.problem or desk.counter.wording.say("practice.bad_line")
            write_line({"error": {"fact": "answer", "value": None, "message": message}})
            continue
        done += 1
        marked = {"marked": course.mark(exercise, answer).to_dict()}
        if count is not None and done >= count:
            write_line(marked)
            return
        exercise = course.next()
        write_line({**marked, "exercise": exercise.to_dict()})


def _read_answer(value: Any) -> Any:
    """Return an answer out of JSON, or None where it is none."""
    from dialogue.practice.course import Answer

    if not isinstance(value, Mapping) or not isinstance(value.get("verdict"), str):
        return None
    if not isinstance(value.get("reason"), str) or value["verdict"] not in VERDICTS:
        return None
    day = value.get("date")
    try:
        return Answer(value["verdict"], None if day is None else dt.date.fromisoformat(day), value["reason"])
    except (TypeError, ValueError):
        return None


@dataclass(frozen=True)
class _Quiz:
    """One trainee at a terminal."""

    course: Course
    desk: Desk

    def say(self, key: str, **values: Any) -> str:
        return self.desk.counter.wording.say(f"practice.{key}", **values)

    def show(self, *lines: str) -> None:
        sys.stdout.write("".join(f"{line}\n" for line in lines))
        sys.stdout.flush()

    def ask(self) -> str | None:
        """Return a line that was typed, or None at the end."""
        line = sys.stdin.readline()
        return line.strip() or None

    def choose(self, question: str, choices: Mapping[str, str]) -> str | None:
        """Return what was chosen by its number."""
        self.show(question)
        for number, text in enumerate(choices.values(), 1):
            self.show(self.say("choice", n=number, text=text))
        while (said := self.ask()) is not None:
            if said.isdigit() and 0 < int(said) <= len(choices):
                return list(choices)[int(said) - 1]
            self.show(self.say("again"))
        return None

    def choose_day(self) -> str | None:
        """Return a day in ISO form or "-"."""
        self.show(self.say("date_ask"))
        while (said := self.ask()) is not None:
            try:
                return NO_DAY if said == NO_DAY else dt.date.fromisoformat(said).isoformat()
            except ValueError:
                self.show(self.say("day_again"))
        return None

    def run_one(self, number: int) -> bool | None:
        """Put one exercise; tell whether all was right, or None at the end of the input."""
        from assistant.channels.web.telling import tell_facts
        from dialogue.counter.outcomes import Term
        from dialogue.practice.course import Answer
        from dialogue.rulebooks.page import blank_sentence

        wording, book = self.desk.counter.wording, self.course.book
        exercise = self.course.next()
        self.show(self.say("exercise", n=number, day=exercise.today))
        facts = tell_facts({name: value for name, value in exercise.facts.items() if name not in ("unknown", "words")})
        self.show(*(self.say("fact", fact=fact) for fact in facts) if facts else (self.say("nothing_known"),))
        verdict = self.choose(self.say("verdict_ask"), {name: wording.value(Term(name)) for name in VERDICTS})
        day = self.choose_day() if verdict else None
        rows = {row: blank_sentence(book.row(row), book) for row in exercise.choices}
        title = book.tables[exercise.table].title
        reason = self.choose(self.say("reason_ask", title=title), rows) if day else None
        if verdict is None or day is None or reason is None:
            return None
        date = None if day == NO_DAY else dt.date.fromisoformat(day)
        marks = self.course.mark(exercise, Answer(verdict, date, reason))
        if marks.right:
            self.show(self.say("right"))
            return True
        told = {part: self.say("good" if getattr(marks, part) else "bad") for part in ("verdict", "date", "reason")}
        due = marks.expected.date
        self.show(
            self.say("wrong", **told),
            self.say(
                "answer",
                verdict=Term(marks.expected.verdict),
                date=due or self.say("no_day"),
                row=marks.expected.reason,
            ),
            *(self.say("line", text=line) for line in marks.lines),
        )
        return False


def _run_text(course: Course, desk: Desk, count: int | None) -> None:
    quiz = _Quiz(course, desk)
    quiz.show(quiz.say("begin"))
    right = done = 0
    while count is None or done < count:
        known = quiz.run_one(done + 1)
        if known is None:
            break
        done, right = done + 1, right + known
    quiz.show(quiz.say("end", right=right, n=done))


def _progress_lines(desk: Desk, progress: Progress) -> Iterator[str]:
    say = desk.counter.wording.say
    counts = {"right": progress.right, "due": progress.due}
    yield say("practice.progress.head", trainee=progress.trainee, n=progress.answered, **counts)
    for row in progress.rows:
        if row.asked:
            yield say("practice.progress.row", row=row.row, known=row.known, asked=row.asked, day=row.due_on)
        else:
            yield say("practice.progress.new", row=row.row)


def _log(desk: Desk) -> Exit:
    from dialogue.practice.course import list_answers

    say = desk.counter.wording.say
    answers = list_answers(desk.counter.store)
    lines = []
    for one in answers:
        told = {part: say(f"practice.{MARKED[one.marks[part]]}") for part in ("verdict", "date", "reason")}
        lines.append(
            say(
                "practice.log",
                trainee=one.trainee,
                row=one.row,
                verdict=told["verdict"],
                reason=told["reason"],
                date=told["date"],
                day=one.marks["on"],
            )
        )
    desk.show({"answers": [one.to_dict() for one in answers]}, lines or [say("practice.none")])
    return Exit.DONE
