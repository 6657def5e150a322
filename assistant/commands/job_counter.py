"""The actions of `job` with a customer before the counter: drop-off, pick-up, coming back, history, undo."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from typing import TYPE_CHECKING

from assistant.commands.customer import customer_line
from assistant.commands.job_bench import strings_of
from assistant.desk import Desk
from assistant.exits import Exit

if TYPE_CHECKING:
    from dialogue.counter.customers import CustomerDraft
    from dialogue.counter.drop_off import TakenIn
    from dialogue.counter.history import History
    from dialogue.counter.pickup import HandOver, Returned


def take_in_racquet(desk: Desk, options: argparse.Namespace, draft: CustomerDraft) -> Exit:
    """Take in a racquet."""
    from dialogue.counter.drop_off import DropOff, Frame, take_in

    mains, crosses = options.pattern or (None, None)
    low, high = options.printed or (None, None)
    drop_off = DropOff(
        customer_id=desk.customer(options.customer).id if options.customer else None,
        new_customer=draft,
        racquet_id=options.racquet,
        frame=Frame(
            nickname=options.nickname,
            sport=options.sport,
            head_size_in2=options.head,
            mains_count=mains,
            crosses_count=crosses,
            tension_min_lb=low,
            tension_max_lb=high,
        ),
        frame_check=options.frame,
        seen_by=options.seen_by,
        strings=strings_of(options),
        same_as=options.same,
        promised_on=options.promised,
        wish=options.wish,
        notes=options.notes,
    )
    taken = desk.need(take_in(desk.counter, drop_off))
    desk.show(taken, _taken_lines(desk, taken))
    return Exit.DONE


def collect(desk: Desk, options: argparse.Namespace) -> Exit:
    """Hand a racquet over and tell its story."""
    from dialogue.counter.pickup import hand_over

    handed = desk.need(hand_over(desk.counter, options.tag))
    desk.show(handed, story_lines(desk, handed))
    return Exit.DONE


def story_lines(desk: Desk, handed: HandOver) -> Iterator[str]:
    """Yield what a customer should hear."""
    yield handed.done
    if handed.compared:
        before, after = handed.compared.before, handed.compared.after
        yield desk.counter.wording.say("hand_over.compared", before=before, after=after)
    yield handed.label
    yield from (desk.say("why", says=says) for says in handed.why)
    if handed.foretold:
        yield handed.foretold
    yield from handed.cautions


def bring_back(desk: Desk, options: argparse.Namespace) -> Exit:
    """Bring up a racquet that came back; exit code 3 when nobody is found."""
    from dialogue.counter.pickup import come_back
    from dialogue.counter.readings import Measured

    measured = None
    if options.reading:
        measured = Measured(values=tuple(options.reading), kind=options.kind, instrument=options.instrument)
    back = desk.need(come_back(desk.counter, options.said, options.racquet, measured))
    desk.show(back, _back_lines(desk, back, options.said))
    if not back.customers and back.racquet is None:
        return Exit.NOT_FOUND
    return Exit.DONE if back.racquet else Exit.REFUSED


def tell_history(desk: Desk, options: argparse.Namespace) -> Exit:
    """Show everything known of a racquet, and who wrote it."""
    from dialogue.counter.history import show_history

    history = show_history(desk.counter, options.tag)
    desk.show(history, _history_lines(desk, history))
    return Exit.DONE


def take_back(desk: Desk, _: argparse.Namespace) -> Exit:
    """Take back what this person did last."""
    from dialogue.counter.history import undo

    undone = undo(desk.counter)
    lines = [desk.counter.wording.say("undone.line", what=what) for what in undone.what]
    desk.show(undone, lines)
    return Exit.DONE


def _taken_lines(desk: Desk, taken: TakenIn) -> Iterator[str]:
    racquet, customer = taken.racquet.nickname or desk.say("unnamed"), taken.customer.name
    if taken.job is None:
        yield desk.say("to_a_person", racquet=racquet, customer=customer)
        yield desk.counter.wording.say(f"refused.{taken.person}")
        return
    promised = taken.job.promised_on
    key = "taken_in_promised" if promised else "taken_in"
    yield desk.say(key, racquet=racquet, customer=customer, tag=taken.job.tag, day=promised or "")


def _back_lines(desk: Desk, back: Returned, said: str) -> Iterator[str]:
    if not back.customers and back.racquet is None:
        yield desk.say("nobody", said=said)
        return
    yield from (customer_line(desk, hit.customer) for hit in back.customers)
    if back.racquet is None:
        yield desk.say("ask_customer" if len(back.customers) > 1 else "ask_racquet")
        for one in back.racquets:
            nickname = one.racquet.nickname or desk.say("unnamed")
            yield desk.say("ask_racquet_row", number=one.racquet.id, racquet=nickname)
        return
    if back.label_date:
        yield desk.say("label_date_about" if back.about else "label_date", day=back.label_date)
    if back.before:
        yield desk.say("verdict_before", verdict=desk.say(f"verdict.{back.before.verdict}"))
    logged = back.reading
    if logged and logged.after:
        yield from (desk.counter.wording.remark(remark) for remark in logged.remarks)
        if logged.baseline is not None and logged.after.loss_percent is not None:
            loss = round(logged.after.loss_percent, 1)
            yield desk.say("loss", baseline=logged.baseline, now=logged.mean, loss=loss)
        yield desk.say("verdict_after", verdict=desk.say(f"verdict.{logged.after.verdict}"))
    decision = logged.after if logged and logged.after else back.before
    if decision:
        yield from (desk.say("why", says=step.says) for step in decision.trail if step.table != "others_say")


def _history_lines(desk: Desk, history: History) -> Iterator[str]:
    from dialogue.counter.pickup import tell_strings
    from dialogue.counter.readings import middle

    for part in history.history.jobs:
        job = part.job
        yield desk.say(
            "history_job",
            tag=job.tag,
            status=desk.say(f"status.{job.status}"),
            day=job.strung_on or desk.say("not_yet"),
            strings=tell_strings(desk.counter, job),
            due=desk.say("restring_by_bare", day=job.restring_by) if job.restring_by else "",
        )
        for reading in part.readings:
            yield desk.say(
                "history_reading",
                day=reading.taken_on,
                role=desk.say(f"role.{reading.role}"),
                mean=middle(reading),
                kind=desk.say(f"kind.{reading.kind or 'unnamed'}"),
            )
    for entry in history.trail:
        yield desk.say(
            "history_entry",
            day=entry.at,
            who=entry.who,
            action=desk.say(f"action.{entry.action}"),
            entity=desk.say(f"entity.{entry.entity}"),
        )
