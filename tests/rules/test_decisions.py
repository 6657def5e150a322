"""What holds for every decision, whatever the facts: the same again, whole as JSON, honest about its reasons."""

from __future__ import annotations

import dataclasses
import datetime as dt
import json
from typing import Any

from hypothesis import given, settings
from hypothesis import strategies as st

import rules.decision
from rules.casebook import load_cases
from rules.chain import decide
from rules.decision import Decision, Need, Step, Verdict
from rules.evaluator import PlainEngine
from rules.facts import Fact, Facts
from rules.intake import parse_facts
from rules.rulebook import build_book, load_book
from tests.strategies import LIMITS, chart_facts, facts, facts_json

BOOK = load_book()
SAME_BOOK = build_book(json.loads(json.dumps(BOOK.content)))
PLAIN = PlainEngine()
TODAY = dt.date(2026, 6, 1)
URGENCY = [Verdict.PLAY_ON, Verdict.RESTRING_SOON, Verdict.RESTRING_NOW]
many = settings(max_examples=60, deadline=None)


def as_bytes(decision: Decision) -> bytes:
    """Return the JSON of a decision."""
    return json.dumps(decision.to_dict()).encode()


@given(known=facts())
@many
def test_the_same_facts_and_book_give_the_same_bytes(known: Facts) -> None:
    """A decision can be replayed: nothing but facts and rulebook goes into it."""
    assert as_bytes(decide(known, BOOK, PLAIN)) == as_bytes(decide(known, SAME_BOOK, PLAIN))


@given(raw=facts_json(), order=st.randoms(use_true_random=False))
@many
def test_the_order_of_the_facts_changes_nothing(raw: dict[str, Any], order: Any) -> None:
    """JSON objects have no order, so no order may matter."""
    names = list(raw)
    order.shuffle(names)
    shuffled = {name: raw[name] for name in names}
    first, second = (parse_facts(one, today=TODAY, limits=LIMITS) for one in (raw, shuffled))
    assert first == second
    assert as_bytes(decide(first, BOOK, PLAIN)) == as_bytes(decide(second, BOOK, PLAIN))


@given(known=facts())
@many
def test_facts_come_back_from_their_json(known: Facts) -> None:
    """Stored facts decide as the first time, and storing them once more changes nothing."""
    stored = json.loads(json.dumps(known.to_dict()))
    again = parse_facts(stored, today=known.today, limits=LIMITS)
    assert again.to_dict() == known.to_dict()
    assert again.words == known.words
    assert as_bytes(decide(again, BOOK, PLAIN)) == as_bytes(decide(known, BOOK, PLAIN))


@given(known=facts())
@many
def test_decisions_come_back_from_their_json(known: Facts) -> None:
    """A stored decision is the decision."""
    decision = decide(known, BOOK, PLAIN)
    again = Decision.from_dict(json.loads(as_bytes(decision)))
    assert as_bytes(again) == as_bytes(decision)


words = st.text(max_size=12)
figures = st.none() | st.floats(allow_nan=False, allow_infinity=False)
days = st.dates()
needs = st.builds(Need, fact=words, because=words, row=words, ask=st.booleans())
steps = st.builds(
    Step,
    row=words,
    table=words,
    read=st.dictionaries(words, st.none() | st.booleans() | words),
    gives=st.dictionaries(words, words | st.booleans() | st.integers()),
    says=words,
    source=words,
    against=st.booleans(),
)
made_decisions = st.builds(
    Decision,
    verdict=st.sampled_from(Verdict),
    rulebook=words,
    interval=st.none() | st.just({"months": [2, 3]}) | st.just({"before": "league_start"}),
    every=st.none() | words,
    restring_by=st.none() | days,
    window=st.none() | st.tuples(days, days),
    loss_percent=figures,
    energy_percent=figures,
    approximate=st.booleans(),
    needs=st.lists(needs.map(lambda need: dataclasses.replace(need, ask=True)), max_size=2).map(tuple),
    strengthens=st.lists(needs, max_size=2).map(tuple),
    cautions=st.lists(words, max_size=2).map(tuple),
    trail=st.lists(steps, max_size=2).map(tuple),
)


@given(decision=made_decisions)
@many
def test_every_field_of_a_decision_survives(decision: Decision) -> None:
    """Field by field, whatever stands in it."""
    assert Decision.from_dict(json.loads(json.dumps(decision.to_dict()))) == decision


def test_no_class_of_a_decision_is_left_out() -> None:
    """A new class of the decision must be built above, or it would go unproven."""
    built = {Decision, Need, Step}
    found = {one for one in vars(rules.decision).values() if dataclasses.is_dataclass(one)}
    assert found == built


def test_every_fact_is_a_field_and_the_other_way_round() -> None:
    """One word, one meaning: the enum of facts and the fields of Facts are the same words."""
    fields = {field.name for field in dataclasses.fields(Facts)} - {"today", "unknown", "words"}
    assert fields == set(Fact)


@given(known=facts())
@many
def test_a_decision_says_what_it_rests_on(known: Facts) -> None:
    """No verdict without a row of the verdict table, no date outside its window, no need without a reason."""
    decision = decide(known, BOOK, PLAIN)
    verdict_rows = [step for step in decision.trail if step.table == "verdict"]
    assert bool(verdict_rows) == (decision.verdict is not Verdict.NEED_MORE)
    if verdict_rows:
        assert verdict_rows[0].gives["verdict"] == decision.verdict
        assert not verdict_rows[0].against
    if decision.window:
        first, last = decision.window
        assert first < last
        assert decision.restring_by is not None
        assert decision.restring_by <= last
    for need in (*decision.needs, *decision.strengthens):
        assert need.because
        assert BOOK.row(need.row)
    for step in decision.trail:
        assert step.says
        assert step.source
        assert "{" not in step.says
        assert BOOK.words["not_known"] not in step.says
        assert BOOK.row(step.row).table == step.table


@given(known=facts())
@many
def test_only_what_is_missing_is_needed(known: Facts) -> None:
    """Nobody is asked what is known already, or what nobody can give."""
    decision = decide(known, BOOK, PLAIN)
    for need in decision.needs:
        assert need.fact not in known.unknown
        assert not known.known(need.fact) or need.fact == "reading"
    if decision.verdict is Verdict.RESTRING_NOW:
        assert not decision.needs


@given(known=chart_facts(today=TODAY), later=st.integers(0, 800))
@many
def test_time_never_makes_a_date_less_urgent(known: Facts, later: int) -> None:
    """What is soon today is not play on tomorrow, while nothing but the day changes."""
    now = decide(known, BOOK, PLAIN)
    then = decide(known.change(today=TODAY + dt.timedelta(days=later)), BOOK, PLAIN)
    assert URGENCY.index(then.verdict) >= URGENCY.index(now.verdict)
    assert then.restring_by == now.restring_by


@given(known=chart_facts(today=TODAY), plays=st.integers(0, 21), more=st.integers(0, 21))
@many
def test_more_play_never_gives_a_later_date(known: Facts, plays: int, more: int) -> None:
    """Somebody who plays more restrings as early or earlier."""
    raw = known.to_dict()
    few, many_plays = (
        decide(parse_facts({**raw, "plays_per_week": count}, today=TODAY, limits=LIMITS), BOOK, PLAIN)
        for count in sorted((plays, more))
    )
    if plays and more:
        assert few.restring_by is not None
        assert many_plays.restring_by is not None
        assert many_plays.restring_by <= few.restring_by


@given(known=chart_facts(today=TODAY))
@many
def test_a_competitive_player_never_waits_longer(known: Facts) -> None:
    """At one play a week, the same stringbed is due no later in matches than for fun."""
    raw = {**known.to_dict(), "plays_per_week": 1}
    dates = {}
    for level in ("recreational", "competitive"):
        decision = decide(parse_facts({**raw, "level": level}, today=TODAY, limits=LIMITS), BOOK, PLAIN)
        assert decision.restring_by is not None
        dates[level] = decision.restring_by
    assert dates["competitive"] <= dates["recreational"]


def test_the_whole_of_one_decision() -> None:
    """Every key that other programs read, in its order, for one ordinary racquet."""
    raw = {
        "level": "recreational",
        "plays_per_week": 3,
        "mains_material": "synthetic_gut",
        "crosses_material": "synthetic_gut",
        "strung_on": "2026-05-01",
        "baseline": {"value": 40, "kind": "stiffness"},
        "reading": {"value": 38, "kind": "stiffness"},
    }
    decision = decide(parse_facts(raw, today=TODAY, limits=LIMITS), BOOK).to_dict()
    trail = decision.pop("trail")
    offers = decision.pop("strengthens")
    assert decision == {
        "verdict": "play_on",
        "interval": {"months": 4},
        "every": "every four months",
        "restring_by": "2026-09-01",
        "window": None,
        "loss_percent": 5.0,
        "energy_percent": None,
        "approximate": False,
        "needs": [],
        "cautions": [],
        "rulebook": BOOK.hash,
    }
    assert offers == [
        {
            "fact": "label_due",
            "because": "A date on the label is a date the shop already worked out.",
            "row": "label-alone",
            "ask": False,
        }
    ]
    steps = {step["row"]: step for step in trail}
    assert list(steps) == [
        "bed-synthetic-gut",
        "fun-synthetic-gut",
        "others-twice-a-year",
        "others-club-nylon",
        "others-nylon-hours",
        "due-from-stringing",
        "reading-alike",
        "reading-fine",
        "verdict-measured-fine",
        "verdict-date-ahead",
    ]
    assert steps["fun-synthetic-gut"] == {
        "row": "fun-synthetic-gut",
        "table": "interval",
        "read": {"level": "recreational", "stringbed": "synthetic_gut", "plays_per_week": 3.0},
        "gives": {"rule": "per_year", "ceiling": 12.0},
        "says": "Playing for fun with synthetic gut: as many restrings a year as plays a week, so every four months.",
        "source": "common practice, no source; Racquet Sports Industry magazine, January 2008",
        "against": False,
    }
    assert steps["due-from-stringing"]["read"] == {"rule": "months", "strung_known": True, "strung_on": "2026-05-01"}
    assert steps["reading-fine"]["read"] == {"loss_percent": 5.0}
    assert steps["reading-alike"]["read"] == {
        "has_baseline": True,
        "same_instrument": True,
        "baseline": {"value": 40.0, "kind": "stiffness"},
        "reading": {"value": 38.0, "kind": "stiffness"},
    }
    assert steps["verdict-date-ahead"]["says"] == "The date to restring, 1 September 2026, is still ahead."


def test_the_hash_names_the_edition() -> None:
    """Another number, another edition; the same content read again, the same edition."""
    content = json.loads(json.dumps(BOOK.content))
    assert build_book(content).hash == BOOK.hash
    content["values.yaml"]["values"]["soon_days"]["value"] = 15
    assert build_book(content).hash != BOOK.hash
    case = load_cases()[0]
    assert decide(case.read_facts(BOOK), BOOK, PLAIN).rulebook == BOOK.hash
