"""`customer`: find, take down and change customers from the shell."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from typing import TYPE_CHECKING

from assistant.desk import Actions, Desk, add_customer_options, at_desk, draft_of
from assistant.exits import Exit
from assistant.settings import Settings

if TYPE_CHECKING:
    from dialogue.counter.customers import Customer, Found


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of this command."""
    actions = Actions(parser)
    find = actions.add("find", "who may be meant by a name, a phone number or its end, or a tag")
    find.add_argument("said", metavar="WHO")
    add_customer_options(actions.add("add", "take down a new customer"))
    change = actions.add("change", "change what is known of a customer")
    change.add_argument("said", metavar="WHO")
    add_customer_options(change)
    forget = actions.add("forget", "take a phone number or an e-mail address off a customer's card")
    forget.add_argument("said", metavar="WHO")
    forget.add_argument("--phone", action="append_const", dest="wanted", const="phone", help="the phone number")
    forget.add_argument("--email", action="append_const", dest="wanted", const="email", help="the e-mail address")


def run(options: argparse.Namespace, settings: Settings) -> Exit:
    """Do one action; exit code 3 when nobody is found."""
    from dialogue.counter.customers import add_customer, change_customer, find_customer, forget_contact

    with at_desk(options, settings) as desk:
        if options.action == "find":
            found = desk.need(find_customer(desk.counter, options.said))
            desk.show(found, found_lines(desk, found))
            return Exit.DONE if found.hits else Exit.NOT_FOUND
        if options.action == "add":
            kept = desk.need(add_customer(desk.counter, draft_of(options)))
        elif options.action == "forget":
            customer = desk.customer(options.said)
            kept = desk.need(forget_contact(desk.counter, customer.id, options.wanted or ()))
        else:
            customer = desk.customer(options.said)
            kept = desk.need(change_customer(desk.counter, customer.id, draft_of(options)))
        line = customer_line(desk, kept.customer) if options.action == "forget" else _kept_line(desk, kept.customer)
        desk.show(kept, [line])
    return Exit.DONE


def _kept_line(desk: Desk, customer: Customer) -> str:
    return desk.say("kept", number=customer.id, name=customer.name)


def found_lines(desk: Desk, found: Found) -> Iterator[str]:
    """Yield everybody who was found, with the racquets."""
    if not found.hits:
        yield desk.say("nobody", said=found.said)
    for hit in found.hits:
        yield customer_line(desk, hit.customer)
        for one in hit.racquets:
            racquet = one.racquet.nickname or desk.say("unnamed")
            if one.job is None:
                yield desk.say("found_racquet_bare", racquet=racquet)
                continue
            due = desk.say("due_note", day=one.job.restring_by) if one.job.restring_by else ""
            status = desk.say(f"status.{one.job.status}")
            yield desk.say("found_racquet", racquet=racquet, tag=one.job.tag, status=status, due=due)


def customer_line(desk: Desk, customer: Customer) -> str:
    """Return a customer on one line."""
    from dialogue.counter.phones import show_phone

    phone = desk.say("with_phone", phone=show_phone(customer.phone)) if customer.phone else ""
    email = desk.say("with_email", email=customer.email) if customer.email else ""
    return desk.say("customer", number=customer.id, name=customer.name, phone=phone, email=email)
