"""Plays day.yaml on a database, a mail server and files of its own, by talk or from the shell, and shows it as it goes.

python -m tests.assistant.day [talk|shell|json]
"""

from __future__ import annotations

import contextlib
import datetime as dt
import io
import json
import os
import re
import shlex
import socket
import sys
import tempfile
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Literal, TextIO
from unittest.mock import patch

import icalendar
import pypdfium2
import yaml
import zxingcpp
from aiosmtpd.controller import Controller
from aiosmtpd.handlers import Message

from assistant.cli import main

SCRIPT = Path(__file__).with_name("day.yaml")
Way = Literal["talk", "shell", "json"]
"""How the counter's work is done: by talk where a step has one, from the shell, or from the shell with --json."""
WAYS: tuple[Way, ...] = ("talk", "shell", "json")
TAG = re.compile(r"\btag(?: is|\": \"|) ?([A-Z0-9]{6})\b")
THERMAL_DPI = 203
WIDEST = 160
"""Characters of a line that are shown; the checks read all of it."""


class Letterbox(Message):
    """A mail server that keeps what it is given."""

    def __init__(self) -> None:
        super().__init__()
        self.letters: list[Any] = []

    def handle_message(self, message: Any) -> None:
        """Keep a letter."""
        self.letters.append(message)


@dataclass
class Day:
    """The day as far as it has come."""

    folder: Path
    letterbox: Letterbox
    out: TextIO
    way: Way = "talk"
    today: dt.date | None = None
    talks: int = 0
    tags: dict[str, str] = field(default_factory=dict)

    def fill(self, text: str) -> str:
        """Return a text with the tags and the folder of this day in it."""
        return re.sub(r"\{(\w+)\}", lambda found: {**self.tags, "folder": str(self.folder)}[found[1]], text)

    def filled(self, value: Any) -> Any:
        """Return a value that is looked for, a text with the tags in it."""
        return self.fill(value) if isinstance(value, str) else value

    def play(self, step: Mapping[str, Any]) -> None:
        """Take one step and check what it must show."""
        self.today = step.get("day", self.today)
        if "tell" in step:
            self.out.write(f"\n# {self.today}: {step['tell']}\n")
        if "talk" in step:
            if self.way == "talk":
                self._talk(step["talk"])
            else:
                for instead in step["shell"]:
                    self.play(instead)
        if "run" in step:
            self._take(step)
        self._check_files(step)
        if "letters" in step:
            assert len(self.letterbox.letters) == step["letters"]

    def _take(self, step: Mapping[str, Any]) -> None:
        """Run a command and check what it must answer."""
        if given := step.get("file"):
            (self.folder / given["name"]).write_text(given["text"], encoding="utf-8")
        words = shlex.split(self.fill(step["run"]))
        as_json = self.way == "json" or "--json" in words
        words += ["--json"] if as_json and "--json" not in words else []
        self.out.write(f"$ counterpull {shlex.join(words)}\n")
        shown, said = self._run(words, step.get("exit", 0))
        shown += "" if as_json else said
        self.out.write("".join(f"  {shorten(line)}\n" for line in shown.splitlines()))
        if "keep" in step:
            self._keep(step["keep"], shown)
        answers = [json.loads(line) for line in shown.splitlines()] if as_json else []
        if not as_json:
            for part in step.get("shows", ()):
                assert self.fill(part) in shown, f"{self.fill(part)!r} is not in:\n{shown}"
        for path, value in step.get("json", {}).items():
            assert look_up(answers[0], path) == self.filled(value), (path, look_up(answers[0], path), value)

    def _talk(self, turns: Sequence[Mapping[str, Any]]) -> None:
        """Hold a talk as a program does, a JSON line in and one out a turn, and check every answer."""
        self.talks += 1
        lines = "".join(json.dumps({"text": self.fill(turn["say"])}) + "\n" for turn in turns)
        with patch("sys.stdin", io.TextIOWrapper(io.BytesIO(lines.encode()))):
            shown = self._run(["talk", "--json", "--conversation", f"day-{self.talks}"], 0)[0]
        answers = [json.loads(line) for line in shown.splitlines()]
        assert len(answers) == len(turns), shown
        for turn, answer in zip(turns, answers, strict=True):
            self.out.write(f"> {turn['say']}\n")
            self.out.write("".join(f"  {part}\n" for text in answer["reply"] for part in text.splitlines()))
            text = " ".join(answer["reply"])
            if "keep" in turn:
                self._keep(turn["keep"], text)
            for part in turn.get("contains", ()):
                assert self.fill(part) in text, f"{self.fill(part)!r} is not in:\n{text}"
            if "asked" in turn:
                assert answer["asked"] == turn["asked"], (turn, answer["asked"], text)
            for path, value in turn.get("json", {}).items():
                assert look_up(answer, path) == value, (path, look_up(answer, path), value)

    def _keep(self, name: str, shown: str) -> None:
        found = TAG.search(shown)
        assert found, shown
        self.tags[name] = found[1]

    def _run(self, words: list[str], code: int) -> tuple[str, str]:
        """Return what a command printed, and what it said beside it."""
        heard, said = io.StringIO(), io.StringIO()
        with contextlib.redirect_stdout(heard), contextlib.redirect_stderr(said):
            done = main([*words, "--today", str(self.today)])
        assert done == code, f"exit code {done}, not {code}:\n{heard.getvalue()}{said.getvalue()}"
        return heard.getvalue(), said.getvalue()

    def _check_files(self, step: Mapping[str, Any]) -> None:
        if codes := step.get("codes"):
            found = read_codes(self.folder / codes["file"])
            assert sorted(found) == sorted(self.tags[name] for name in codes["tags"])
            for part, times in codes["prints"].items():
                assert read_text(self.folder / codes["file"]).count(part) == times, part
        if calendar := step.get("calendar"):
            read = icalendar.Calendar.from_ical((self.folder / calendar["file"]).read_bytes())
            days = sorted(event.decoded("dtstart").isoformat() for event in read.walk("VEVENT"))
            assert days == calendar["days"]


def shorten(line: str) -> str:
    """Return as much of a line as a screen shows."""
    return line if len(line) <= WIDEST else f"{line[:WIDEST]} ..."


def look_up(answer: Any, path: str) -> Any:
    """Return what stands at a path of an answer; "length" counts a list."""
    for part in path.split("."):
        key = int(part) if isinstance(answer, list) and part != "length" else part
        answer = len(answer) if key == "length" else answer[key]
    return answer


def read_codes(path: Path) -> list[str]:
    """Return the codes of a PDF as a decoder reads them from a thermal printer's picture."""
    document = pypdfium2.PdfDocument(path)
    pictures = [page.render(scale=THERMAL_DPI / 72, grayscale=True).to_pil() for page in document]
    document.close()
    return [code.text for picture in pictures for code in zxingcpp.read_barcodes(picture)]


def read_text(path: Path) -> str:
    """Return the words of a PDF."""
    document = pypdfium2.PdfDocument(path)
    words = " ".join(page.get_textpage().get_text_range() for page in document)
    document.close()
    return words


@contextlib.contextmanager
def begin_day(folder: Path, out: TextIO, way: Way = "talk") -> Iterator[Day]:
    """Open a day with a new database and a mail server on loopback."""
    letterbox = Letterbox()
    with contextlib.closing(socket.socket()) as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    controller = Controller(letterbox, hostname="127.0.0.1", port=port)
    controller.start()
    surroundings = {
        "COUNTERPULL_DB": f"sqlite:///{folder / 'day.sqlite3'}",
        "COUNTERPULL_SMTP": f"smtp://127.0.0.1:{port}",
        "COUNTERPULL_MAIL_FROM": "shop@example.org",
        "COUNTERPULL_WHO": "anna",
        "COUNTERPULL_REGION": "US",
    }
    try:
        with patch.dict(os.environ, surroundings):
            yield Day(folder, letterbox, out, way)
    finally:
        controller.stop()


def read_script() -> list[dict[str, Any]]:
    """Return the steps of the day."""
    steps: list[dict[str, Any]] = yaml.safe_load(SCRIPT.read_text(encoding="utf-8"))
    return steps


def play_day(out: TextIO, way: Way = "talk") -> None:
    """Play the whole day and show it."""
    with tempfile.TemporaryDirectory() as folder, begin_day(Path(folder), out, way) as day:
        for step in read_script():
            day.play(step)


if __name__ == "__main__":
    chosen = [way for way in WAYS if way in sys.argv[1:]] or ["talk"]
    play_day(sys.stdout, chosen[0])
    sys.stdout.write("\nEvery figure of the day was as it should be.\n")
