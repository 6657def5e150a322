"""The command line: names the commands and their options; each command does its work in a module of its own."""

from __future__ import annotations

import argparse
import atexit
import datetime as dt
import gc
import importlib
import keyword
import os
import sys
from collections.abc import Sequence

from assistant.exits import CommandError, Exit
from assistant.settings import Settings

OBJECTS_OF_A_START = 300_000
"""A talk has made 260,000 objects by its first answer, and nearly all of them stay: nothing is gained by looking
through them before. Whatever runs for long sets less (`bootstrap.prepare_turns`)."""
COMMANDS = {
    "talk": "talk a consultation through, typed",
    "listen": "the same conversation by voice, from a microphone or recordings",
    "hear": "recordings in, what each ear heard and what was understood out",
    "decide": "facts JSON on standard input, decision JSON out; stores nothing",
    "understand": "utterances on standard input, intent and slots out",
    "customer": "find, take down and change customers",
    "job": "a stringing from drop-off to pick-up and back",
    "reading": "log a baseline or a check of one stringing",
    "learn": "what the shop's own stringings teach the forecast of tension loss",
    "label": "labels for the throat as PDF",
    "pickup": "what a customer should hear when the racquet is handed over",
    "due": "whose strings are due, as a list, CSV or calendar",
    "league": "leagues, their seasons and players, and the rush before a season",
    "remind": "draft, send and settle reminders",
    "import": "take over lists of customers and of strings from CSV",
    "export": "everything on record of one customer",
    "erase": "forget one customer for good",
    "backup": "copy the database and check the copy",
    "copy": "move the shop to another database, compared row by row",
    "restore": "put a backup in the place of the database",
    "staff": "who may sign in at the counter",
    "serve": "kiosk and staff board in the browser",
    "demo": "fill an invented shop to try things in",
    "actions": "the conversation's actions over HTTP, in the open action-server protocol",
    "explain": "why, why not, why not later, what would change it, who says so: for facts or a stored consultation",
    "practise": "exercises for a trainee, marked by the rulebook; weak rows come back",
    "rulebook": "the shop's own rulebook: copy, use, undo, list",
    "check": "check rulebook, phrases, cues and set-up",
}


def main(argv: Sequence[str] | None = None) -> int:
    """Run one command and return its exit code."""
    gc.set_threshold(OBJECTS_OF_A_START)
    # What is left at the end dies with the process: looking through all of it would keep the shell waiting.
    atexit.register(gc.freeze)
    words = list(sys.argv[1:] if argv is None else argv)
    options = build_parser(words).parse_args(words)
    settings = Settings.build(options.db, options.today, options.book)
    module = importlib.import_module(module_of(options.command))
    try:
        return int(module.run(options, settings))
    except CommandError as error:
        sys.stdout.flush()
        print(f"counterpull: {error}", file=sys.stderr)  # noqa: T201 - the command line speaks
        return int(error.code)
    except KeyboardInterrupt:
        return 130
    except BrokenPipeError:
        # The reader has gone; keep the interpreter from complaining when it flushes.
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())
        return int(Exit.DONE)


def build_parser(words: Sequence[str] = ()) -> argparse.ArgumentParser:
    """Return the parser of all commands, with the options of those that the words name.

    A command's module is loaded only when it is named, so that each starts fast.
    """
    shared = argparse.ArgumentParser(add_help=False)
    shared.add_argument("--db", metavar="URL", help="database (default: a file in your data folder, or COUNTERPULL_DB)")
    shared.add_argument("--today", metavar="DAY", type=_day, help="take this day for today, for example 2026-11-24")
    shared.add_argument("--book", metavar="FOLDER", help="the shop's own rulebook (default: the one that comes along)")
    parser = argparse.ArgumentParser(
        prog="counterpull", description="A counter assistant for people who string racquets."
    )
    commands = parser.add_subparsers(dest="command", metavar="COMMAND", required=True)
    for name, text in COMMANDS.items():
        command = commands.add_parser(name, help=text, description=text[0].upper() + text[1:] + ".", parents=[shared])
        if name in words:
            importlib.import_module(module_of(name)).add_options(command)
    return parser


def module_of(command: str) -> str:
    """Return the module of a command; one named by a word of Python ends in an underscore."""
    return f"assistant.commands.{command}{'_' if keyword.iskeyword(command) else ''}"


def _day(text: str) -> dt.date:
    try:
        return dt.date.fromisoformat(text)
    except ValueError as error:
        raise argparse.ArgumentTypeError(f"{text!r} is no day; write it as 2026-11-24") from error
