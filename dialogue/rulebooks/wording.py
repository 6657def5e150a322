"""The sentences of the rulebook's commands; knows no command and no rule."""

from __future__ import annotations

from collections.abc import Iterator
from pathlib import Path

from dialogue.counter.outcomes import Term
from dialogue.counter.wording import Wording
from dialogue.rulebooks.moving import Movement


def tell_movement(movement: Movement, wording: Wording) -> Iterator[str]:
    """Yield what another edition would move, racquet by racquet and in figures."""
    if not movement.moved:
        yield wording.say("rulebook.difference.none", n=movement.racquets)
    for one in movement.shown:
        racquet = one.racquet or wording.say("screen.unnamed")
        customer = one.customer or wording.say("screen.somebody")
        yield wording.say("rulebook.difference.racquet", tag=one.tag, customer=customer, racquet=racquet)
        for line in one.lines:
            yield wording.say("rulebook.difference.line", text=line)
    if movement.moved > len(movement.shown):
        yield wording.say("rulebook.difference.more", n=movement.moved - len(movement.shown))
    if movement.moved:
        counts = {"moved": movement.moved, "earlier": movement.earlier, "later": movement.later}
        yield wording.say("rulebook.difference.total", n=movement.racquets, **counts)
    for pair, count in movement.verdicts.items():
        old, new = (Term(verdict) for verdict in pair.split(" to "))
        yield wording.say("rulebook.difference.verdict", n=count, old=old, new=new)
    if movement.unreadable:
        yield wording.say("rulebook.difference.unreadable", n=movement.unreadable)


def tell_changes(lines: tuple[str, ...], folder: Path, wording: Wording) -> Iterator[str]:
    """Yield what stands otherwise in the edition of a folder."""
    yield wording.say(f"rulebook.difference.{'head' if lines else 'same'}", folder=str(folder))
    for line in lines:
        yield wording.say("rulebook.difference.line", text=line)
