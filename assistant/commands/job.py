"""`job`: a stringing from drop-off to pick-up and back, from the shell."""

from __future__ import annotations

import argparse
from collections.abc import Callable, Mapping

from assistant.commands.job_advice import add_advice, add_tension
from assistant.desk import (
    Actions,
    Desk,
    add_customer_options,
    at_desk,
    draft_of,
    read_day,
    read_pattern,
    read_printed,
    read_pull,
)
from assistant.exits import Exit
from assistant.settings import Settings


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of this command."""
    actions = Actions(parser)
    _add_drop_off(actions.add("add", "take in a racquet"))
    actions.add("list", "what is in the shop, by promised day")
    strung = actions.add("strung", "log a stringing and work out its date")
    strung.add_argument("tag")
    strung.add_argument("--machine", help="constant_pull, lock_out or drop_weight")
    strung.add_argument("--pieces", type=int, help="1 or 2")
    strung.add_argument("--prestretch", type=float, metavar="PERCENT")
    strung.add_argument("--on", type=read_day, metavar="DAY", help="the day it was strung (default: today)")
    _add_unknown(strung)
    _add_strings(strung)
    redate = actions.add("redate", "work the date out again after something new was said of the player")
    redate.add_argument("tag")
    _add_unknown(redate)
    for name, text in (
        ("ready", "record that a racquet lies ready"),
        ("collect", "record that a racquet was fetched"),
        ("cancel", "record that nothing comes of a stringing"),
        ("history", "everything known of a racquet, and who wrote it"),
    ):
        actions.add(name, text).add_argument("tag")
    back = actions.add("back", "bring up a racquet that came back, and weigh a check reading")
    back.add_argument("said", metavar="WHO", help="tag, phone number or its end, or name")
    back.add_argument("--racquet", type=int, metavar="NUMBER", help="which racquet, where there are several")
    back.add_argument("--reading", type=float, nargs="+", metavar="N", help="a check reading, with its repeats")
    back.add_argument("--kind", help="deflection, stiffness, pounds or frequency")
    back.add_argument("--instrument", help="the shop's own name of the instrument")
    add_advice(actions)
    tension = add_tension(actions)
    _add_strings(tension)
    actions.add("undo", "take back what this person did last")


def run(options: argparse.Namespace, settings: Settings) -> Exit:
    """Do one action."""
    from assistant.commands import job_advice, job_bench, job_counter

    actions: Mapping[str, Callable[[Desk, argparse.Namespace], Exit]] = {
        "add": lambda desk, given: job_counter.take_in_racquet(desk, given, draft_of(given)),
        "list": job_bench.show_bench,
        "strung": job_bench.log_stringing,
        "redate": job_bench.date_again,
        "ready": job_bench.move,
        "cancel": job_bench.move,
        "collect": job_counter.collect,
        "history": job_counter.tell_history,
        "back": job_counter.bring_back,
        "undo": job_counter.take_back,
        "advise": job_advice.advise_strings,
        "tension": job_advice.match_tension,
    }
    with at_desk(options, settings) as desk:
        return actions[options.action](desk, options)


def _add_drop_off(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--customer", metavar="WHO", help="one on record: #number, name, phone or tag")
    add_customer_options(parser)
    parser.add_argument("--racquet", type=int, metavar="NUMBER", help="one on record")
    parser.add_argument("--nickname", help="what the racquet is called")
    parser.add_argument("--sport")
    parser.add_argument("--head", type=float, metavar="IN2", help="head size in square inches")
    parser.add_argument("--pattern", type=read_pattern, metavar="MxC", help="mains by crosses, such as 16x19")
    parser.add_argument("--printed", type=read_printed, metavar="LOW-HIGH", help="range printed on the frame")
    parser.add_argument("--frame", required=True, help="what was seen: sound, grommets_worn or crack")
    parser.add_argument("--seen-by", metavar="NAME", help="the qualified stringer who looked at a crack")
    _add_strings(parser)
    parser.add_argument(
        "--same", nargs="?", const="last", metavar="TAG", help="strings as last time, or as under a tag"
    )
    parser.add_argument("--promised", type=read_day, metavar="DAY")
    parser.add_argument("--wish", metavar="WORDS", help="what is wanted outside the printed range after being told")
    parser.add_argument("--notes", metavar="WORDS")


def _add_strings(parser: argparse.ArgumentParser) -> None:
    parser.add_argument("--mains", metavar="STRING", help="material, or a product of the catalogue")
    parser.add_argument("--crosses", metavar="STRING", help="where they differ from the mains")
    parser.add_argument("--tension", type=read_pull, metavar="N", help="54, 54lb or 24.5kg")
    parser.add_argument("--crosses-tension", type=read_pull, metavar="N", help="where it differs from the mains'")
    parser.add_argument("--gauge", metavar="MM")
    parser.add_argument("--crosses-gauge", metavar="MM")


def _add_unknown(parser: argparse.ArgumentParser) -> None:
    parser.add_argument(
        "--unknown", nargs="+", default=(), metavar="FACT", help="facts nobody could give, such as plays_per_week"
    )
