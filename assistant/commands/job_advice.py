"""The actions of `job` that advise: strings and tension for whoever does not know, a tension for the same feel."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from typing import TYPE_CHECKING, Any

from assistant.commands.job_bench import side_of, strings_of
from assistant.desk import Actions, Desk, read_pattern, read_printed, read_pull
from assistant.exits import Exit

if TYPE_CHECKING:
    from dialogue.counter.advising import StringsAdvised, TensionMatched
    from dialogue.counter.strings import Strings


def add_advice(actions: Actions) -> argparse.ArgumentParser:
    """Add the options of `job advise`."""
    parser = actions.add("advise", "strings and a tension to start from, for somebody who does not know")
    parser.add_argument("tag", nargs="?", help="a stringing of the racquet, for what its cards know")
    parser.add_argument("--level", help="recreational or competitive")
    parser.add_argument("--breaks-strings", action=argparse.BooleanOptionalAction, help="whether strings break")
    parser.add_argument(
        "--symptoms", nargs="*", metavar="WORD", help="what is noticed, such as arm_pain; without a word: nothing"
    )
    parser.add_argument("--sport")
    parser.add_argument("--printed", type=read_printed, metavar="LOW-HIGH", help="range printed on the frame")
    return parser


def add_tension(actions: Actions) -> argparse.ArgumentParser:
    """Add the options of `job tension`; those of strings and frame are the new bed's."""
    parser = actions.add("tension", "a tension at which a changed racquet or other strings should feel the same")
    parser.add_argument("tag", nargs="?", help="the stringing that felt right, where it is on record")
    parser.add_argument("--was", metavar="STRING", help="the string that felt right: material or product")
    parser.add_argument("--was-crosses", metavar="STRING", help="where they differed from the mains")
    parser.add_argument("--was-tension", type=read_pull, metavar="N", help="54, 54lb or 24.5kg")
    parser.add_argument("--was-crosses-tension", type=read_pull, metavar="N", help="where it differed")
    parser.add_argument("--was-gauge", metavar="MM")
    parser.add_argument("--was-head", type=float, metavar="IN2", help="its head size in square inches")
    parser.add_argument("--was-pattern", type=read_pattern, metavar="MxC", help="mains by crosses, such as 16x19")
    parser.add_argument("--head", type=float, metavar="IN2", help="head size of the new frame")
    parser.add_argument("--pattern", type=read_pattern, metavar="MxC", help="pattern of the new frame")
    parser.add_argument("--printed", type=read_printed, metavar="LOW-HIGH", help="range printed on the new frame")
    return parser


def advise_strings(desk: Desk, options: argparse.Namespace) -> Exit:
    """Show strings and a tension to start from, with the reasons."""
    from dialogue.counter.advising import advise

    said = {name: getattr(options, name) for name in ("level", "breaks_strings", "symptoms", "sport")}
    facts = {name: value for name, value in said.items() if value is not None}
    advised = desk.need(advise(desk.counter, facts, options.printed, options.tag))
    desk.show(advised, _advised_lines(desk, advised))
    return Exit.DONE


def match_tension(desk: Desk, options: argparse.Namespace) -> Exit:
    """Show a tension to start from, with what was assumed."""
    from dialogue.counter.advising import BedSaid
    from dialogue.counter.advising import match_tension as match

    old = BedSaid(strings=_old_strings(options), head_size_in2=options.was_head, pattern=options.was_pattern)
    new = BedSaid(strings=strings_of(options), head_size_in2=options.head, pattern=options.pattern)
    matched = desk.need(match(desk.counter, old, new, options.printed, options.tag))
    desk.show(matched, _matched_lines(desk, matched))
    return Exit.DONE


def _old_strings(options: argparse.Namespace) -> Strings | None:
    from dialogue.counter.strings import Strings

    mains = side_of(options.was, options.was_tension, options.was_gauge)
    crosses = side_of(options.was_crosses, options.was_crosses_tension, None)
    return Strings(mains=mains, crosses=crosses) if mains else None


def _advised_lines(desk: Desk, advised: StringsAdvised) -> Iterator[str]:
    from dialogue.counter.outcomes import Term

    advice = advised.advice
    values: dict[str, Any] = {"mains": Term(advice.mains), "crosses": Term(advice.crosses)}
    strings = desk.say("advised_full" if advice.mains == advice.crosses else "advised_hybrid", **values)
    if advice.tension_lb is None or advice.range_lb is None:
        yield desk.say("advised", strings=strings)
    else:
        low, high = advice.range_lb
        yield desk.say("advised_at", strings=strings, tension=advice.tension_lb, low=low, high=high)
    yield from (desk.say("why", says=step.says) for step in advice.trail)
    yield from (desk.say("advised_open", because=need.because) for need in advice.needs)


def _matched_lines(desk: Desk, matched: TensionMatched) -> Iterator[str]:
    advice = matched.advice.advice
    pulls = {name: desk.say("pull", n=pull.value, unit=pull.unit) for name, pull in (
        ("mains", advice.mains), ("crosses", advice.crosses), ("low", advice.low), ("high", advice.high)
    )}  # fmt: skip
    key = "matched" if advice.mains == advice.crosses else "matched_sides"
    yield desk.say(key, **pulls)
    yield from (desk.say("why", says=says) for says in (matched.advice.matched, *matched.advice.says))
