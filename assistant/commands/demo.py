"""`demo`: fills an invented shop to try things in."""

from __future__ import annotations

import argparse
import sys
from typing import Any

from assistant.exits import CommandError, Exit
from assistant.json_lines import write_line
from assistant.settings import Settings


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of this command."""
    parser.add_argument("--json", action="store_true", help="answer in one JSON object")


def run(options: argparse.Namespace, settings: Settings) -> Exit:
    """Fill the named database; a database that holds customers is left as it is."""
    from assistant.bootstrap import open_counter
    from assistant.demo.fill import fill_demo, invite_staff

    if settings.db is None:
        raise CommandError("The demo goes into a database of its own: name one, such as --db sqlite:///demo.sqlite3.")
    with open_counter(settings) as counter:
        with counter.look() as unit:
            there = len(unit.customers.all())
        if there:
            answer: dict[str, Any] = {"filled": False, "customers": there}
            text = f"There are {there} customers already; nothing was added."
        else:
            filled, invited = fill_demo(counter), invite_staff(counter)
            answer = {"filled": True, "club": filled.club, "customers": filled.customers, "racquets": filled.racquets}
            # An address of a server may hold a password.
            db = settings.db if settings.db.startswith("sqlite") else "ADDRESS"
            answer["staff"] = {"name": invited.name, "pin": invited.pin}
            text = (
                f"{filled.club}: {filled.customers} invented customers with {filled.racquets} racquets.\n"
                f"To look at it in a browser: counterpull serve --db {db}\n"
                f"On the staff board you are {invited.name}, PIN {invited.pin}. It is shown this once; "
                f'another one: counterpull staff add "{invited.name}" --db {db}'
            )
    if options.json:
        write_line(answer)
    else:
        sys.stdout.write(text + "\n")
    return Exit.DONE
