"""`pickup`: what a customer should hear when a racquet is handed over, by tag, name or phone."""

from __future__ import annotations

import argparse
from typing import TYPE_CHECKING, Any

from assistant.commands.job_counter import story_lines
from assistant.desk import Desk, add_shared, at_desk
from assistant.exits import Exit
from assistant.settings import Settings

if TYPE_CHECKING:
    from dialogue.counter.customers import Found


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of this command."""
    add_shared(parser)
    parser.add_argument("said", metavar="WHO", help="tag, name, or phone number or its end")
    parser.add_argument("--collect", action="store_true", help="record that it was fetched")


def run(options: argparse.Namespace, settings: Settings) -> Exit:
    """Tell the story of everything of this customer that is strung, or of the one stringing named by its tag."""
    from dialogue.counter.customers import find_customer
    from dialogue.counter.outcomes import as_json
    from dialogue.counter.pickup import hand_over

    with at_desk(options, settings) as desk:
        found = desk.need(find_customer(desk.counter, options.said))
        tags = [found.job.tag] if found.job else _ready(desk, found)
        told = [desk.need(hand_over(desk.counter, tag, collect=options.collect)) for tag in tags]
        answer: dict[str, Any] = {"pickups": [as_json(one) for one in told]}
        desk.show(answer, [line for one in told for line in story_lines(desk, one)])
    return Exit.DONE


def _ready(desk: Desk, found: Found) -> list[str]:
    """Return the tags of what is strung and not fetched, of the one customer who is meant."""
    from dialogue.counter.outcomes import Refusal

    customer = desk.customer(found.said)
    jobs = [one.job for hit in found.hits if hit.customer.id == customer.id for one in hit.racquets if one.job]
    ready = [job.tag for job in jobs if job.status in ("strung", "ready")]
    if not ready:
        shown = [f"{job.tag} {desk.say(f'status.{job.status}')}" for job in jobs] or [desk.say("none")]
        desk.need(Refusal(reason="nothing_ready", fact="customer", values={"choices": shown}))
    return ready
