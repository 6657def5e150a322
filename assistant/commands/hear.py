"""`hear`: recordings in, what each ear heard and what was understood out; holds no conversation."""

from __future__ import annotations

import argparse
import json
import sys
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from assistant.exits import Exit
from assistant.json_lines import write_line
from assistant.settings import Settings

if TYPE_CHECKING:
    from speech_recognition import AudioSource

    from assistant.channels.voice.hear import Listener


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of this command."""
    parser.add_argument("--wav", metavar="FILE", nargs="+", required=True, help="WAV recordings; - is standard input")
    parser.add_argument("--asked", metavar="SLOT", help="the slot just asked about, for example plays_per_week")
    parser.add_argument(
        "--model", metavar="FOLDER", help="a Whisper model for CTranslate2 (default: the one that comes along)"
    )
    parser.add_argument("--json", action="store_true", help="answer in JSON lines, one a file")


def run(options: argparse.Namespace, settings: Settings) -> Exit:
    """Hear each file; one alone that cannot be used ends with exit code 2."""
    from assistant.bootstrap import customer_names, open_listener

    people = customer_names(settings) if settings.db else ()
    refused = 0
    with open_listener(options.model) as listener:
        for answer in _hear_all(options, settings, listener, people):
            refused += "error" in answer
            if options.json:
                write_line(json.loads(json.dumps(answer, default=str)))
            else:
                _show(answer)
    return Exit.REFUSED if refused and len(options.wav) == 1 else Exit.DONE


def _hear_all(
    options: argparse.Namespace, settings: Settings, listener: Listener, people: tuple[str, ...]
) -> Iterator[dict[str, Any]]:
    from assistant.channels.voice.errors import VoiceProblem
    from assistant.channels.voice.hear import Question
    from assistant.channels.voice.recording import hear_recording

    question = Question(options.asked, settings.today, people)
    for name in options.wav:
        try:
            with _open(name) as source:
                yield {"file": name, **hear_recording(source, listener, question)}
        except VoiceProblem as problem:
            yield {"file": name, "error": {"fact": "file", "value": name, "message": str(problem)}}


def _open(name: str) -> AudioSource:
    from assistant.channels.voice.audio import WavSource, read_stdin

    return read_stdin(sys.stdin.buffer) if name == "-" else WavSource(name)


def _show(answer: dict[str, Any]) -> None:
    out = sys.stdout
    out.write(f"{answer['file']}\n")
    if "error" in answer:
        out.write(f"  {answer['error']['message']}\n")
        return
    for name in ("heard", "second", "agree", "intent", "confidence", "seconds"):
        out.write(f"  {name}: {answer[name]}\n")
    for slot, value in answer["slots"].items():
        doubt = " (read back)" if slot in answer.get("read_back", ()) else ""
        out.write(f"  {slot}: {json.dumps(value, ensure_ascii=False)}{doubt}\n")
    if "problem" in answer:
        out.write(f"  {answer['problem']}\n")
    out.flush()
