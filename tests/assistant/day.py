"""Plays day.yaml through the commands on a database, a mail server and files of its own, and shows it as it goes."""

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
from collections.abc import Iterator, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, TextIO
from unittest.mock import patch

import icalendar
import pypdfium2
import yaml
import zxingcpp
from aiosmtpd.controller import Controller
from aiosmtpd.handlers import Message

from assistant.cli import main

SCRIPT = Path(__file__).with_name("day.yaml")
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
    today: dt.date | None = None
    tags: dict[str, str] = field(default_factory=dict)

    def fill(self, text: str) -> str:
        """Return a text with the tags and the folder of this day in it."""
        return re.sub(r"\{(\w+)\}", lambda found: {**self.tags, "folder": str(self.folder)}[found[1]], text)

    def play(self, step: Mapping[str, Any]) -> None:
        """Take one step and check what it must show."""
        self.today = step.get("day", self.today)
        if "tell" in step:
            self.out.write(f"\n# {self.today}: {step['tell']}\n")
        if "run" not in step:
            return
        if given := step.get("file"):
            (self.folder / given["name"]).write_text(given["text"], encoding="utf-8")
        words = shlex.split(self.fill(step["run"]))
        shown = self._run(words, step.get("exit", 0))
        if "keep" in step:
            found = re.search(r"tag ([A-Z0-9]{6})", shown)
            assert found, shown
            self.tags[step["keep"]] = found[1]
        for part in step.get("shows", ()):
            assert self.fill(part) in shown, f"{self.fill(part)!r} is not in:\n{shown}"
        if "json" in step:
            answer = json.loads(shown.splitlines()[0])
            for path, value in step["json"].items():
                assert look_up(answer, path) == value, (path, look_up(answer, path), value)
        self._check_files(step)
        if "letters" in step:
            assert len(self.letterbox.letters) == step["letters"]

    def _run(self, words: list[str], code: int) -> str:
        self.out.write(f"$ counterpull {shlex.join(words)}\n")
        heard, said = io.StringIO(), io.StringIO()
        with contextlib.redirect_stdout(heard), contextlib.redirect_stderr(said):
            done = main([*words, "--today", str(self.today)])
        shown = heard.getvalue() + said.getvalue()
        self.out.write("".join(f"  {shorten(line)}\n" for line in shown.splitlines()))
        assert done == code, f"exit code {done}, not {code}:\n{shown}"
        return shown

    def _check_files(self, step: Mapping[str, Any]) -> None:
        if codes := step.get("codes"):
            found = read_codes(self.folder / codes["file"])
            assert sorted(found) == sorted(self.tags[name] for name in codes["tags"])
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


@contextlib.contextmanager
def begin_day(folder: Path, out: TextIO) -> Iterator[Day]:
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
            yield Day(folder, letterbox, out)
    finally:
        controller.stop()


def read_script() -> list[dict[str, Any]]:
    """Return the steps of the day."""
    steps: list[dict[str, Any]] = yaml.safe_load(SCRIPT.read_text(encoding="utf-8"))
    return steps


def play_day(out: TextIO) -> None:
    """Play the whole day and show it."""
    with tempfile.TemporaryDirectory() as folder, begin_day(Path(folder), out) as day:
        for step in read_script():
            day.play(step)


if __name__ == "__main__":
    play_day(sys.stdout)
    sys.stdout.write("\nEvery figure of the day was as it should be.\n")
