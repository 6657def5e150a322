"""`erase`: forget one customer for good; what must stay for the books stays as nobody's."""

from __future__ import annotations

import argparse

from assistant.desk import add_shared, at_desk
from assistant.exits import CommandError, Exit
from assistant.settings import Settings


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of this command."""
    add_shared(parser)
    parser.add_argument("said", metavar="WHO", help="#number, name, phone or tag")
    parser.add_argument("--yes", action="store_true", help="do it; it cannot be taken back")


def run(options: argparse.Namespace, settings: Settings) -> Exit:
    """Erase the customer."""
    from dialogue.counter.privacy import erase_customer

    with at_desk(options, settings) as desk:
        customer = desk.customer(options.said)
        if not options.yes:
            raise CommandError(desk.say("erase_confirm", number=customer.id, name=customer.name))
        erased = erase_customer(desk.counter, customer.id)
        kept = {
            "racquets": erased.racquets_kept,
            "jobs": erased.jobs_kept,
            "consultations": erased.consultations_kept,
        }
        desk.show(erased, [desk.say("erased", **kept)])
    return Exit.DONE
