"""`talk`: a typed consultation, for people at a terminal, for pipes, and as JSON lines for programs."""

from __future__ import annotations

import argparse
import sys
import uuid
from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

import platformdirs

from assistant.exits import Exit
from assistant.settings import Settings

if TYPE_CHECKING:
    from dialogue.messages import Reply


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of this command."""
    parser.add_argument("--json", action="store_true", help='JSON lines: {"text": ...} in, one answer out a turn')
    parser.add_argument("--conversation", metavar="NAME", help="go on with the conversation of this name")


def run(options: argparse.Namespace, settings: Settings) -> Exit:
    """Hold one conversation until the input ends or somebody stops."""
    from assistant.bootstrap import open_conversation, prepare_turns
    from assistant.channels import terminal
    from dialogue.messages import Message

    sender = options.conversation or f"talk-{uuid.uuid4()}"
    with open_conversation(settings) as conversation:

        def turn(text: str) -> Sequence[Reply]:
            return conversation.handle(Message(text, sender, today=settings.today))

        if options.json:
            terminal.run_json(turn, sys.stdin.buffer)
        elif sys.stdin.isatty():
            terminal.run_terminal(turn, turn(""), _history_file(), meanwhile=prepare_turns)
        else:
            terminal.run_plain(turn, turn(""), sys.stdin.buffer)
    return Exit.DONE


def _history_file() -> str | None:
    """Return the file that keeps what was typed, or None where it cannot be kept."""
    folder = Path(platformdirs.user_state_dir("counterpull", appauthor=False))
    try:
        folder.mkdir(mode=0o700, parents=True, exist_ok=True)
    except OSError:
        return None
    return str(folder / "history")
