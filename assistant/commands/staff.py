"""`staff`: who may sign in at the counter; a PIN is asked for or read from standard input, never an option."""

from __future__ import annotations

import argparse
import sys

from assistant.desk import Actions, Desk, at_desk
from assistant.exits import Exit
from assistant.settings import Settings


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of this command."""
    actions = Actions(parser)
    add = actions.add("add", "let somebody sign in, or give a new PIN")
    add.add_argument("name")
    add.add_argument("--role", default="front", help="front, stringer or owner")
    actions.add("list", "who may sign in")
    actions.add("retire", "let somebody sign in no more").add_argument("name")
    actions.add("verify", "tell whether a PIN is right").add_argument("name")


def run(options: argparse.Namespace, settings: Settings) -> Exit:
    """Do one action; exit code 2 for a PIN that is wrong."""
    from dialogue.counter.staff import add_staff, list_staff, retire_staff, verify_pin

    with at_desk(options, settings) as desk:
        if options.action == "list":
            staff = list_staff(desk.counter)
            lines = [desk.say("staff_row", name=row.name, role=row.role) for row in staff.staff]
            desk.show(staff, lines or [desk.say("none")])
        elif options.action == "retire":
            desk.show(retire_staff(desk.counter, options.name), [desk.say("staff_retired", name=options.name)])
        elif options.action == "add":
            kept = desk.need(add_staff(desk.counter, options.name, options.role, _read_pin(desk)))
            row = kept.staff[0]
            desk.show(kept, [desk.say("staff_kept", name=row.name, role=row.role)])
        else:
            answer = verify_pin(desk.counter, options.name, _read_pin(desk))
            desk.show(answer, [desk.say("pin_right" if answer.welcome else "pin_wrong", name=options.name)])
            return Exit.DONE if answer.welcome else Exit.REFUSED
    return Exit.DONE


def _read_pin(desk: Desk) -> str:
    if sys.stdin.isatty():
        from getpass import getpass

        return getpass(desk.say("pin_ask")).strip()
    return sys.stdin.readline().strip()
