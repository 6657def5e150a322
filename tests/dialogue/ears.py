"""An ear that understands what a test tells it to, and random utterances for it."""

from __future__ import annotations

import datetime as dt
from collections.abc import Sequence
from typing import Any

from hypothesis import strategies as st

from dialogue.catalogue import load_domain
from dialogue.messages import Evidence, Understanding

INTENTS = load_domain().raw["intents"]
MATERIALS = ["natural_gut", "synthetic_gut", "multifilament", "polyester", "aramid"]
SYMPTOMS = ["arm_pain", "loss_of_power", "loss_of_control", "fraying", "broken", "notched", "movement"]


def piece(slot: str, value: Any, **more: Any) -> Evidence:
    """Return one value as understood, surely unless said otherwise."""
    given = {"span": (0, 4), "words": str(value), "rule": "test", "confidence": 1.0, **more}
    return Evidence(slot, value, **given)


def heard(intent: str, *pieces: Evidence, **more: Any) -> Understanding:
    """Return what a turn meant."""
    return Understanding("words", intent, 1.0, {each.slot: each.value for each in pieces}, pieces, **more)


class ScriptedEar:
    """Hears what was put in, turn after turn, whatever the text."""

    def __init__(self) -> None:
        self.next = heard("greet")
        self.asked: list[str | None] = []

    def __call__(
        self,
        text: str,  # noqa: ARG002 - this ear has heard already
        *,
        asked: str | None,
        channel: str,  # noqa: ARG002
        today: dt.date,  # noqa: ARG002
        names: Sequence[str] = (),  # noqa: ARG002
    ) -> Understanding:
        """Return what was put in."""
        self.asked.append(asked)
        return self.next


tensions = st.fixed_dictionaries(
    {"value": st.floats(-5, 400, allow_nan=False), "unit": st.sampled_from(["lb", "kg"])},
    optional={"relative_to": st.just("mains")},
)
days = st.one_of(
    st.dates(dt.date(1960, 1, 1), dt.date(2110, 1, 1)).map(dt.date.isoformat),
    st.sampled_from(["2026-03", "2021", "-P6M", "P3W", "-P3Y", "2026-13", "soon"]),
)
dates = st.one_of(days, st.builds(lambda day: {"value": day, "approx": True}, days))
readings = st.fixed_dictionaries(
    {
        "value": st.floats(-10, 3000, allow_nan=False),
        "kind": st.sampled_from(["deflection", "stiffness", "pounds", "frequency", None]),
    }
)
plays = st.one_of(
    st.floats(0, 60, allow_nan=False),
    st.builds(lambda low, high: {"min": low, "max": high}, st.integers(0, 9), st.integers(0, 30)),
)
VALUES = {
    "level": st.sampled_from(["recreational", "competitive"]),
    "plays_per_week": plays,
    "hours_per_play": plays,
    "hours_per_week": plays,
    "season": st.sampled_from(["spring", "summer", "autumn", "winter"]),
    "mains_material": st.sampled_from(MATERIALS),
    "crosses_material": st.sampled_from([*MATERIALS, "same_as_mains"]),
    "hybrid": st.booleans(),
    "mains_tension": tensions,
    "crosses_tension": st.one_of(tensions, st.just("same_as_mains")),
    "strung_on": dates,
    "label_due": dates,
    "league_start": dates,
    "baseline": readings,
    "reading": readings,
    "breaks_strings": st.booleans(),
    "symptoms": st.lists(st.sampled_from(SYMPTOMS), unique=True),
    "sport": st.sampled_from(["tennis", "badminton", "squash", "racquetball", "padel"]),
    "promised_on": dates,
    "frame_check": st.sampled_from(["sound", "grommets_worn", "crack"]),
    "racquet_count": st.integers(0, 5),
    "customer_name": st.sampled_from(["Maya Okoro", "Maya", "Tom Berg", "Maia", "0143", "x"]),
    "customer_phone": st.sampled_from(["0143", "+441632960143", "12"]),
}
OWNERS = [None, None, None, "daughter", "red", "other", "second racquet", "self", "Maya"]
OPERATIONS = ["swap_strings", "unit_kg", "unit_lb", "undo", "clear:strung_on", "clear:nothing"]
QUESTIONS = ["dead_means", "contradiction:plays_per_week", "day_order:strung_on", "crack", "new_kind"]


@st.composite
def utterances(draw: st.DrawFn) -> Understanding:
    """Any understanding there can be: any intent, any values, sure or doubtful, of anybody's racquet."""
    pieces = []
    for slot in draw(st.lists(st.sampled_from(sorted(VALUES)), max_size=4)):
        more = {
            "confidence": draw(st.sampled_from([1.0, 0.95, 0.7, 0.3])),
            "owner": draw(st.sampled_from(OWNERS)),
            "readback": draw(st.sampled_from([None, None, None, "sound_alike", "year_moved"])),
        }
        pieces.append(piece(slot, draw(VALUES[slot]), **more))
    return heard(
        draw(st.sampled_from(INTENTS)),
        *pieces,
        operations=tuple(draw(st.lists(st.sampled_from(OPERATIONS), max_size=1))),
        questions=tuple(draw(st.lists(st.sampled_from(QUESTIONS), max_size=1))),
        suggestions=tuple(draw(st.sampled_from([(), ("polyester", "synthetic gut")]))),
    )
