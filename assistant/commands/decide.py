"""`decide`: facts JSON in, decision JSON out, without storage; or a consultation on record decided again."""

from __future__ import annotations

import argparse
import sys
from collections.abc import Iterator
from typing import TYPE_CHECKING

from assistant.exits import CommandError, Exit
from assistant.json_lines import read_entries, write_line
from assistant.settings import Settings

if TYPE_CHECKING:
    from dialogue.rulebooks.replay import Replay, Retaken


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of this command."""
    parser.add_argument("--json", action="store_true", help="the answer is JSON anyway, but for --with-todays-book")
    parser.add_argument(
        "--replay", type=int, metavar="N", help="decide a consultation on record again, with its own rulebook"
    )
    parser.add_argument(
        "--with-todays-book", action="store_true", help="with --replay: what the rulebook of today would say, and why"
    )


def run(options: argparse.Namespace, settings: Settings) -> Exit:
    """Decide each object of the input; one alone that is refused ends with exit code 2."""
    from assistant.bootstrap import decide_facts

    if options.replay is not None:
        return _replay(options, settings)
    if options.with_todays_book:
        raise CommandError("--with-todays-book goes with --replay; name a consultation.")
    code = Exit.DONE
    for entry in read_entries(sys.stdin.buffer):
        if entry.problem:
            answer = {"error": {"fact": "facts", "value": None, "message": entry.problem}}
        else:
            answer = decide_facts(entry.value, settings)
        write_line(answer)
        if entry.alone and "error" in answer:
            code = Exit.REFUSED
    return code


def _replay(options: argparse.Namespace, settings: Settings) -> Exit:
    """Print the answer decided again; exit code 2 when it is not the stored one, byte for byte."""
    from assistant.bootstrap import open_book, open_shelf
    from dialogue.rulebooks.replay import replay, retake

    with open_shelf(settings) as shelf:
        replayed = replay(shelf.store, options.replay)
    if not options.with_todays_book:
        sys.stdout.write(replayed.again + "\n")
        sys.stdout.flush()
        sys.stderr.write("\n".join(_told(replayed)) + "\n")
        return Exit.DONE if replayed.same else Exit.REFUSED
    retaken = retake(replayed, open_book(settings))
    if options.json:
        write_line({"consultation": options.replay, "same": replayed.same, "today": retaken.to_dict()})
    else:
        sys.stdout.write("\n".join([*_told(replayed), *_told_today(replayed, retaken)]) + "\n")
    return Exit.DONE if replayed.same else Exit.REFUSED


def _told(replayed: Replay) -> Iterator[str]:
    """Yield whether the answer came out as it was stored, and what differs."""
    from dialogue.counter.wording import load_wording

    say = load_wording(replayed.book).say
    if replayed.same:
        yield say("rulebook.replay.same", hash=replayed.book.hash)
        return
    yield say("rulebook.replay.differs", hash=replayed.book.hash)
    for line in replayed.differences().lines:
        yield say("rulebook.difference.line", text=line)


def _told_today(replayed: Replay, retaken: Retaken) -> Iterator[str]:
    """Yield what the rulebook of today says otherwise, and which rows and numbers make it."""
    from dialogue.counter.wording import load_wording

    say = load_wording(replayed.book).say
    hash_ = retaken.decision.rulebook
    if not retaken.answers.parts and not (retaken.answers.rows_gone or retaken.answers.rows_new):
        yield say("rulebook.replay.alike", hash=hash_)
        return
    yield say("rulebook.replay.head", hash=hash_)
    for line in retaken.answers.lines:
        yield say("rulebook.difference.line", text=line)
    if retaken.editions.lines:
        yield say("rulebook.replay.why")
        for line in retaken.editions.lines:
            yield say("rulebook.difference.line", text=line)
