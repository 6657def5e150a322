"""What is heard and answered, shown as well: plain lines or JSON lines; decides nothing."""

from __future__ import annotations

import json
import sys
from collections.abc import Sequence
from typing import Any, Protocol

from assistant.channels.terminal import merge_replies
from assistant.channels.voice.errors import phrase
from assistant.channels.voice.hear import Hearing
from assistant.json_lines import write_line
from dialogue.messages import Reply

FULL_LEVEL = 3000
"""Root mean square of 16-bit samples that fills the bar: speech close to a microphone."""
BAR = 20


class Screen(Protocol):
    """Where what is heard and answered is shown."""

    def note(self, text: str) -> None:
        """Show a word of the channel's own."""

    def show(self, heard: Hearing | None, replies: Sequence[Reply]) -> None:
        """Show a turn: what was heard and what is answered."""

    def show_level(self, loudness: float) -> None:
        """Show how loud it is just now."""


class PlainScreen:
    """Lines of text, and a level bar where somebody sits at a terminal."""

    def __init__(self) -> None:
        self._bar = sys.stderr.isatty()
        self._drawn = False

    def note(self, text: str) -> None:
        """Show a word of the channel's own."""
        self._clear()
        sys.stdout.write(f"  [{text}]\n")
        sys.stdout.flush()

    def show(self, heard: Hearing | None, replies: Sequence[Reply]) -> None:
        """Show a turn."""
        self._clear()
        out = sys.stdout
        if heard is not None and heard.text:
            out.write(f"> {heard.text}\n")
        for reply in replies:
            for paragraph in reply.text:
                out.write(f"{paragraph}\n")
        if replies and replies[-1].choices:
            out.write("   ".join(f"[{choice.text}]" for choice in replies[-1].choices) + "\n")
        if replies:
            out.write("\n")
        out.flush()

    def show_level(self, loudness: float) -> None:
        """Draw how loud it is just now."""
        if self._bar:
            filled = min(BAR, round(BAR * loudness / FULL_LEVEL))
            sys.stderr.write(f"\r|{'=' * filled}{' ' * (BAR - filled)}|")
            sys.stderr.flush()
            self._drawn = True

    def _clear(self) -> None:
        if self._drawn:
            sys.stderr.write(f"\r{' ' * (BAR + 2)}\r")
            sys.stderr.flush()
            self._drawn = False


class JsonScreen:
    """One JSON line a turn: what `talk --json` answers, with what was heard; notes on standard error."""

    def note(self, text: str) -> None:
        """Show a word of the channel's own."""
        sys.stderr.write(f"{text}\n")
        sys.stderr.flush()

    def show(self, heard: Hearing | None, replies: Sequence[Reply]) -> None:
        """Write a turn."""
        line: dict[str, Any] = {}
        if heard is not None:
            line = {"heard": heard.text, "second": heard.second, "doubted": list(heard.agreed.doubted)}
            line["seconds"] = round(heard.seconds, 3)
        if replies:
            line |= merge_replies(replies)
        else:
            line |= {"reply": [phrase("ask_again")], "asked": None}
        write_line(json.loads(json.dumps(line, default=str)))

    def show_level(self, loudness: float) -> None:
        """A program has no use for it."""
