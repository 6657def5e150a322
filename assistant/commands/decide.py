"""`decide`: facts JSON in, decision JSON out; no storage."""

from __future__ import annotations

import argparse
import sys

from assistant.exits import Exit
from assistant.json_lines import read_entries, write_line
from assistant.settings import Settings


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of this command."""
    parser.add_argument("--json", action="store_true", help="accepted for symmetry: the answer is always JSON")


def run(_: argparse.Namespace, settings: Settings) -> Exit:
    """Decide each object of the input; one alone that is refused ends with exit code 2."""
    from assistant.bootstrap import decide_facts

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
