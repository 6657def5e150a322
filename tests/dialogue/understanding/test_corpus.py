"""The understander on the project's own annotated lines: over a thousand, said by invented people of many kinds."""

from __future__ import annotations

import re
from collections import Counter
from dataclasses import replace
from typing import Any

import pytest

from dialogue.understanding import understand
from tests.dialogue.understanding.scoring import REFERENCE_DAY, Line, Score, read_corpus, score

LINES = read_corpus()
LEAST_PER_INTENT = 8


def answer(line: Line) -> tuple[Line, str, dict[str, Any]]:
    """Return a line with what is understood of it."""
    meant = understand(line.text, asked=line.asked, channel=line.channel, today=REFERENCE_DAY)
    return line, meant.intent, dict(meant.slots)


def scored(*, held_out: bool) -> Score:
    """Return the score of one half of the corpus."""
    return score(answer(line) for line in LINES if line.held_out == held_out)


def test_lines_the_cues_were_written_with_are_understood() -> None:
    """The bars of the project's own corpus."""
    figures = scored(held_out=False)
    assert figures.intent >= 97, figures.misses
    assert figures.mean_recall >= 95, figures.misses
    assert figures.f1 >= 97, figures.misses
    assert figures.precision >= 98, figures.misses


def test_lines_held_out_are_understood() -> None:
    """Lines by other hands that no cue was written for or mended after."""
    figures = scored(held_out=True)
    assert figures.lines >= 50
    assert figures.intent >= 90, figures.misses
    assert figures.mean_recall >= 80, figures.misses
    assert figures.f1 >= 92, figures.misses
    assert figures.precision >= 95, figures.misses


def test_every_intent_and_slot_is_in_the_corpus() -> None:
    """No intent and no slot goes untested."""
    intents = Counter(line.intent for line in LINES)
    assert len(intents) == 26
    assert min(intents.values()) >= LEAST_PER_INTENT, intents
    slots = {slot for line in LINES for slot in line.slots}
    assert slots >= {
        "level", "plays_per_week", "hours_per_play", "hours_per_week", "mains_material", "crosses_material", "hybrid",
        "mains_tension", "crosses_tension", "strung_on", "label_due", "league_start", "baseline", "reading",
        "breaks_strings", "symptoms", "sport", "racquet_count", "season", "customer_name", "customer_phone",
        "reading_kind", "customer_choice",
    }  # fmt: skip


def test_no_line_stands_twice() -> None:
    """A line said to the same question counts once."""
    said = Counter((re.sub(r"\W+", " ", line.text.lower()).strip(), line.asked) for line in LINES)
    assert [key for key, count in said.items() if count > 1] == []


@pytest.mark.parametrize("line", [line for line in LINES if line.accept], ids=lambda line: line.id)
def test_an_accepted_value_is_a_real_alternative(line: Line) -> None:
    """What a line accepts besides its value differs from it."""
    for slot, values in line.accept.items():
        said = line.intent if slot == "intent" else line.slots.get(slot)
        assert [value for value in values if value != said]


@pytest.mark.parametrize(
    ("before", "after"), [("um ", ""), ("well ", ""), ("okay so ", ""), ("", " mate"), ("", " i think"), ("", "!")]
)
def test_a_filler_changes_nothing(before: str, after: str) -> None:
    """Words of no weight around a turn leave its meaning alone in at least 98 of 100 lines."""
    lines = [
        line for line in LINES if line.intent != "out_of_scope" and not line.text.rstrip().endswith(("?", ".", "!"))
    ]
    changed = [
        line.text for line in lines if answer(line)[1:] != answer(replace(line, text=f"{before}{line.text}{after}"))[1:]
    ]
    assert len(changed) <= 0.02 * len(lines), changed
