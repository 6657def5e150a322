"""`explain`: the reasons of an answer, for facts on standard input or a consultation on record; stores nothing."""

from __future__ import annotations

import argparse
import datetime as dt
import sys
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from assistant.exits import CommandError, Exit
from assistant.json_lines import read_entries, write_line
from assistant.settings import Settings

if TYPE_CHECKING:
    from dialogue.rulebooks.explaining import Explainer, Told


@dataclass(frozen=True)
class Asked:
    """What is to be explained: facts, or a decision that was stored with them."""

    facts: Mapping[str, Any]
    today: dt.date
    explainer: Explainer
    decision: Mapping[str, Any]


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of this command."""
    parser.add_argument("--json", action="store_true", help="answer in one JSON object a line")
    parser.add_argument("--id", type=int, metavar="N", help="a consultation on record, by its own rulebook")
    parser.add_argument(
        "--depth", choices=["customer", "stringer", "trainee"], help="for whom: a sentence, reasons, the whole trail"
    )
    parser.add_argument("--why-not", metavar="VERDICT", help="restring_now, restring_soon, play_on, need_more or later")
    parser.add_argument("--change", choices=["verdict", "date"], help="the smallest change of a fact that turns it")
    parser.add_argument("--sources", action="store_true", help="who says so, and who says otherwise")


def run(options: argparse.Namespace, settings: Settings) -> Exit:
    """Explain each object of the input, or one consultation; refused input alone ends with exit code 2."""
    code = Exit.DONE
    for asked in _stored(options.id, settings) if options.id is not None else _given(settings):
        if isinstance(asked, Asked):
            _show(options, asked)
            continue
        message = asked["error"]["message"]
        if options.json:
            write_line(asked)
        else:
            sys.stderr.write(f"counterpull: {message}\n")
        code = Exit.REFUSED
    return code


def _given(settings: Settings) -> Iterator[Asked | dict[str, Any]]:
    from assistant.bootstrap import decide_facts, open_book
    from dialogue.rulebooks.explaining import Explainer

    explainer = Explainer(open_book(settings))
    for entry in read_entries(sys.stdin.buffer):
        if entry.problem:
            yield {"error": {"fact": "facts", "value": None, "message": entry.problem}}
            continue
        decision = decide_facts(entry.value, settings)
        yield decision if "error" in decision else Asked(entry.value, settings.today, explainer, decision)


def _stored(number: int, settings: Settings) -> Iterator[Asked]:
    from assistant.bootstrap import open_shelf
    from dialogue.rulebooks.explaining import Explainer

    with open_shelf(settings) as shelf:
        stored, book = shelf.consultation(number)
        yield Asked(stored.facts, stored.today, Explainer(book), stored.decision)


def _show(options: argparse.Namespace, asked: Asked) -> None:
    answers = dict(_answers(options, asked))
    if options.json:
        write_line({name: told.data for name, told in answers.items()})
        return
    for told in answers.values():
        sys.stdout.write("\n".join(told.lines) + "\n")


def _answers(options: argparse.Namespace, asked: Asked) -> Iterator[tuple[str, Told]]:
    explainer, today = asked.explainer, asked.today
    if options.depth or not (options.why_not or options.change or options.sources):
        yield "explanation", explainer.depth(asked.decision, options.depth or "stringer")
    if options.why_not:
        try:
            yield "why_not", explainer.why_not(asked.facts, today, options.why_not, options.depth)
        except ValueError as error:
            raise CommandError(f"{error}; ask for a verdict, or for later.") from error
    if options.change:
        yield "change", explainer.what_would_change(asked.facts, today, options.change)
    if options.sources:
        yield "sources", explainer.who_says_so(asked.decision)
