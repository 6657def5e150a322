"""`learn`: what the shop's own stringings teach the forecast of tension loss."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from typing import TYPE_CHECKING

from assistant.desk import Desk, add_shared, at_desk
from assistant.exits import Exit
from assistant.progress import progress_bar
from assistant.settings import Settings

if TYPE_CHECKING:
    from dialogue.forecasts.shop_prior import PriorShown, StringsLearnt


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of this command."""
    add_shared(parser)
    what = parser.add_mutually_exclusive_group()
    what.add_argument("--show", action="store_true", help="show what was learnt, and learn nothing")
    what.add_argument("--forget", action="store_true", help="go back to the book alone")


def run(options: argparse.Namespace, settings: Settings) -> Exit:
    """Learn from every measured stringing, or show or forget what was learnt."""
    from dialogue.forecasts.shop_prior import forget_prior, learn_prior, show_prior

    with at_desk(options, settings) as desk:
        say = desk.counter.wording.say
        if options.forget:
            forgotten = forget_prior(desk.counter)
            desk.show({"forgotten": forgotten}, [say("learn.forgotten" if forgotten else "learn.nothing_to_forget")])
            return Exit.DONE
        if options.show:
            shown = show_prior(desk.counter)
        else:
            with progress_bar(say("learn.progress")) as progress:
                shown = learn_prior(desk.counter, progress)
        desk.show(shown, _lines(desk, shown))
    return Exit.DONE


def _lines(desk: Desk, shown: PriorShown) -> Iterator[str]:
    say = desk.counter.wording.say
    if shown.learnt_on is None:
        if not shown.remarks:
            yield say("learn.nothing")
        return
    yield say("learn.learnt", n=shown.jobs, day=shown.learnt_on)
    for one in shown.strings:
        loss, book = one.loss_percent, one.book_loss_percent
        yield say(
            "learn.strings",
            strings=_name(desk, one),
            kind=say(f"learn.kind.{one.kind or 'unnamed'}"),
            jobs=say("learn.jobs", n=one.jobs),
            days=shown.days,
            loss=round(loss.expected),
            low=round(loss.low),
            high=round(loss.high),
            book=round(book.expected),
            book_low=round(book.low),
            book_high=round(book.high),
        )
    if shown.left_out:
        yield say("learn.left_out", n=shown.left_out)
    yield say("learn.used")


def _name(desk: Desk, one: StringsLearnt) -> str:
    from dialogue.counter.outcomes import Term

    wording = desk.counter.wording
    mains, crosses = (
        wording.value(Term(side)) if side else wording.say("learn.unknown")
        for side in (one.mains_material, one.crosses_material)
    )
    return mains if mains == crosses else wording.say("learn.hybrid", mains=mains, crosses=crosses)
