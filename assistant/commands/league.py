"""`league`: leagues, their seasons and players, and the rush before a season."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from typing import TYPE_CHECKING

from assistant.desk import Actions, Desk, at_desk, read_day
from assistant.exits import Exit
from assistant.settings import Settings

if TYPE_CHECKING:
    from dialogue.counter.leagues import LeagueShown, RushEntry, SeasonPlan
    from dialogue.counter.outcomes import Refusal

WEEKDAYS = ("mon", "tue", "wed", "thu", "fri", "sat", "sun")


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of this command."""
    actions = Actions(parser)
    actions.add("list", "every league").add_argument("name", nargs="?")
    add = actions.add("add", "take down a league")
    add.add_argument("name")
    add.add_argument(
        "--season", type=read_day, action="append", default=[], metavar="DAY", help="first day of a season"
    )
    season = actions.add("season", "take down a season")
    season.add_argument("name")
    season.add_argument("starts_on", type=read_day, metavar="DAY")
    season.add_argument("--called", metavar="WORDS")
    for name, text in (("join", "make a customer a member"), ("leave", "end a membership")):
        member = actions.add(name, text)
        member.add_argument("name")
        member.add_argument("said", metavar="WHO")
    plan = actions.add("plan", "who needs stringing before a season, and a day for each")
    plan.add_argument("name")
    plan.add_argument("--season", type=read_day, metavar="DAY", help="which season (default: the next one)")
    plan.add_argument("--closed", nargs="+", choices=WEEKDAYS, default=[], help="weekdays on which nobody strings")


def run(options: argparse.Namespace, settings: Settings) -> Exit:
    """Do one action."""
    from dialogue.counter.leagues import list_leagues, plan_season

    with at_desk(options, settings) as desk:
        if options.action == "list":
            leagues = list_leagues(desk.counter, options.name)
            lines = [line for shown in leagues.leagues for line in _league_lines(desk, shown)]
            desk.show(leagues, lines or [desk.say("none")])
        elif options.action == "plan":
            closed = frozenset(WEEKDAYS.index(day) for day in options.closed)
            plan = desk.need(plan_season(desk.counter, options.name, options.season, closed))
            desk.show(plan, _plan_lines(desk, plan))
        else:
            shown = desk.need(_change(desk, options))
            desk.show(shown, _league_lines(desk, shown))
    return Exit.DONE


def _change(desk: Desk, options: argparse.Namespace) -> LeagueShown | Refusal:
    from dialogue.counter.leagues import add_season, create_league, join_league, leave_league

    if options.action == "add":
        return create_league(desk.counter, options.name, tuple(options.season))
    if options.action == "season":
        return add_season(desk.counter, options.name, options.starts_on, options.called)
    step = join_league if options.action == "join" else leave_league
    return step(desk.counter, options.name, desk.customer(options.said).id)


def _league_lines(desk: Desk, shown: LeagueShown) -> Iterator[str]:
    yield desk.say("league", name=shown.league.name)
    yield from (desk.say("league_season", day=season.starts_on) for season in shown.seasons)
    yield from (desk.say("league_member", name=member.name) for member in shown.members)


def _plan_lines(desk: Desk, plan: SeasonPlan) -> Iterator[str]:
    yield desk.say(
        "plan_head",
        league=plan.league.name,
        day=plan.season.starts_on,
        first=plan.fresh_from,
        last=plan.ready_by,
    )
    for entry in plan.entries:
        racquet = entry.racquet or desk.say("unnamed")
        yield desk.say("plan_row", customer=entry.customer, racquet=racquet, when=_when(desk, entry))
    for day in plan.days:
        if day.load:
            yield desk.say("plan_day", day=day.day, promised=day.promised, planned=day.planned)
    yield desk.say("plan_busiest", n=plan.busiest)


def _when(desk: Desk, entry: RushEntry) -> str:
    if entry.promised_on:
        return desk.say("plan_promised", day=entry.promised_on)
    return desk.say("plan_on", day=entry.planned_on) if entry.planned_on else desk.say("plan_unplanned")
