"""Why strings were advised and not others: what came first, and what the row for the others would have needed."""

from __future__ import annotations

from collections.abc import Iterator

from rules.advice import STRINGS, gather_known, gather_told
from rules.evaluator import NearMiss, find_near_misses, fire_rows
from rules.explain import begin_small
from rules.explain_words import ExplainWords, load_words
from rules.facts import Facts, Material
from rules.rulebook import Rulebook
from rules.tables import Row


def explain_not_advised(facts: Facts, book: Rulebook, material: Material) -> tuple[str, ...]:
    """Return, line by line, why a material was not advised for the mains: what came first, and the nearest miss.

    No line where the edition gives no advice. Of several rows that fit the first alone counts, so what came before the
    row that would have advised it is told before what that row still needs.
    """
    if STRINGS not in book.tables:
        return ()
    table, words = book.tables[STRINGS], load_words(book)
    fired = fire_rows(table, gather_known(facts))
    if not fired:
        return ()
    if _gives(fired[0], material):
        return (words.say("why_not", "advised", says=begin_small(fired[0].says)),)
    rows = [row for row in table.rows if _gives(row, material)]
    if not rows:
        return (words.say("why_not", "never_advised", material=words.words.term(material)),)
    held = [row for row in fired if _gives(row, material)]
    if held:
        says = {"says": begin_small(held[0].says), "winner_says": begin_small(fired[0].says)}
        return (words.say("why_not", "beaten", **says),)
    told = gather_told(facts)
    misses = [miss for miss in find_near_misses(table, told) if _gives(miss.row, material)]
    return tuple(_nearest(misses[0], fired[0], facts, words))


def _gives(row: Row, material: Material) -> bool:
    return row.gives["mains"] == material.value


def _nearest(miss: NearMiss, winner: Row, facts: Facts, words: ExplainWords) -> Iterator[str]:
    """Yield what came first, where something did, and what the row would have needed and met instead."""
    told, name = gather_told(facts), words.words.term(str(miss.row.gives["mains"]))
    needs = words.both([words.needs(STRINGS, column, miss.row.when[column]) for column in miss.stopped_by])
    met = words.also([words.met(STRINGS, column, told.get(column), {}) for column in miss.stopped_by])
    first = winner.order < miss.row.order
    if first:
        yield words.say("why_not", "advised_first", says=begin_small(winner.says))
    yield words.say("why_not", "advise_miss_else" if first else "advise_miss", material=name, needs=needs, met=met)
