"""Two ears: what is taken, what is read back, and when neither has heard anything."""

from __future__ import annotations

from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from assistant.channels.voice.agreement import Candidate, Verdict, agree
from assistant.channels.voice.figures import read_figures
from dialogue.messages import Understanding

FIGURES = read_figures().agreement
UNSURE = FIGURES.certain - 0.1
NEAR, FAR = -FIGURES.nearly_as_likely / 2, -3 * FIGURES.nearly_as_likely


def heard(likelihood: float = -0.2, intent: str = "inform", fit: float = -2.0, **slots: Any) -> Candidate:
    """Return a wording that means some values."""
    return Candidate(f"{intent} {slots}", Understanding("", intent, 0.95, slots), likelihood, fit)


def nothing(likelihood: float = -0.2) -> Candidate:
    """Return a wording that means nothing here."""
    return heard(likelihood, "out_of_scope")


def test_a_statement_without_a_value_is_nothing() -> None:
    """Words that sound like the trade but hold no value and ask nothing are asked for once more."""
    assert agree([heard(intent="inform")], None, asked="level", figures=FIGURES).verdict is Verdict.NOTHING
    assert agree([heard(intent="ask_why")], None, asked="level", figures=FIGURES).verdict is Verdict.ACCEPT


def test_the_same_value_is_accepted() -> None:
    """What both ears heard needs no reading back."""
    agreed = agree([heard(plays_per_week=3)], heard(-1.0, plays_per_week=3), asked="plays_per_week", figures=FIGURES)
    assert (agreed.verdict, agreed.doubted) == (Verdict.ACCEPT, ())


def test_a_different_value_is_read_back() -> None:
    """Where the ears differ the first one's value is read back."""
    agreed = agree([heard(plays_per_week=3)], heard(-1.0, plays_per_week=4), asked="plays_per_week", figures=FIGURES)
    assert (agreed.verdict, agreed.doubted) == (Verdict.READ_BACK, ("plays_per_week",))
    assert agreed.taken is not None
    assert agreed.taken.meaning.slots == {"plays_per_week": 3}


def test_a_value_that_one_ear_has_not_heard_is_read_back() -> None:
    """A value on top of the shared one is doubtful, the shared one is not."""
    first = heard(plays_per_week=3, level="competitive")
    agreed = agree([first], heard(-1.0, plays_per_week=3), asked="plays_per_week", figures=FIGURES)
    assert agreed.doubted == ("level",)


def test_tension_is_always_read_back() -> None:
    """A tension is read back however sure the ears are."""
    value = {"value": 54, "unit": "lb"}
    agreed = agree(
        [heard(mains_tension=value)], heard(-0.5, mains_tension=value), asked="mains_tension", figures=FIGURES
    )
    assert (agreed.doubted, agreed.apart) == (("mains_tension",), ())


def test_a_wording_that_both_have_comes_first() -> None:
    """Of two wordings nearly as likely, the one that the second ear heard too is taken; the other is its rival."""
    first = [heard(UNSURE, hours_per_play=0.32), heard(UNSURE + NEAR, hours_per_play=1.5)]
    agreed = agree(first, heard(-1.0, hours_per_play=1.5), asked="hours_per_play", figures=FIGURES)
    assert agreed.taken is first[1]
    assert agreed.doubted == ("hours_per_play",)


def test_of_two_wordings_the_one_that_people_say_comes_first() -> None:
    """A wording nearly as likely that sounds like an answer to the question wins over one that does not."""
    first = [heard(UNSURE, fit=-6.0, reading=4), heard(UNSURE + NEAR, fit=-2.0, reading=41)]
    assert agree(first, None, asked="reading", figures=FIGURES).taken is first[1]


def test_an_answer_heard_for_certain_is_taken_before_any_other() -> None:
    """Neither the second ear nor what people usually say changes words that the first ear is certain of."""
    first = [heard(FIGURES.certain, fit=-6.0, reading=41), heard(FIGURES.certain - 0.1, fit=-2.0, reading=4)]
    agreed = agree(first, heard(-1.0, reading=4), asked="reading", figures=FIGURES)
    assert agreed.taken is first[0]
    assert agreed.doubted == ("reading",)


def test_words_that_nobody_answers_with_are_no_answer() -> None:
    """Small talk in which a value was found leaves none, unless the second ear heard the value too."""
    talk = heard(fit=FIGURES.least_fit - 0.1, strung_on="2026-11-23")
    assert agree([talk], None, asked="strung_on", figures=FIGURES).verdict is Verdict.NOTHING
    agreed = agree([talk], heard(-1.0, strung_on="2026-11-23"), asked="strung_on", figures=FIGURES)
    assert agreed.taken is not None


def test_talk_heard_for_sure_is_not_turned_into_an_answer() -> None:
    """Where the best wording is sure and no answer, neither another wording nor the second ear makes one of it."""
    talk = heard(FIGURES.sure + 0.1, fit=FIGURES.talk_fit - 1)
    other = heard(FIGURES.sure - 0.1, crosses_material="natural_gut")
    assert agree([talk, other], None, asked="crosses_material", figures=FIGURES).verdict is Verdict.NOTHING
    assert agree([talk], other, asked="crosses_material", figures=FIGURES).verdict is Verdict.NOTHING
    unsure = heard(FIGURES.sure - 0.1, fit=FIGURES.talk_fit - 1)
    assert agree([unsure, other], None, asked="crosses_material", figures=FIGURES).taken is other


def test_a_rival_as_likely_is_read_back_though_both_ears_agree() -> None:
    """Both ears heard an hour, but half an hour is as likely: it is asked back."""
    rival = -0.2 - FIGURES.rival / 2
    first = [heard(-0.2, hours_per_play=1), heard(rival, hours_per_play=0.5)]
    agreed = agree(first, heard(-1.0, hours_per_play=1), asked="hours_per_play", figures=FIGURES)
    assert (agreed.verdict, agreed.doubted) == (Verdict.READ_BACK, ("hours_per_play",))
    assert agreed.taken is first[0]


def test_an_unlikely_wording_does_not_count() -> None:
    """A wording far behind the best is not looked at."""
    first = [heard(-0.2, hours_per_play=0.32), heard(-0.2 + FAR, hours_per_play=1.5)]
    agreed = agree(first, heard(-1.0, hours_per_play=1.5), asked="hours_per_play", figures=FIGURES)
    assert agreed.taken is first[0]
    assert agreed.doubted == ("hours_per_play",)


def test_the_second_ear_alone_counts_where_the_first_finds_it_likely() -> None:
    """An answer that only the second ear heard is read back, or left where the first finds it unlikely."""
    likely, unlikely = FIGURES.second_alone + 0.1, FIGURES.second_alone - 0.1
    agreed = agree([nothing()], heard(likely, mains_material="polyester"), asked="mains_material", figures=FIGURES)
    assert (agreed.verdict, agreed.doubted) == (Verdict.READ_BACK, ("mains_material",))
    agreed = agree([nothing()], heard(unlikely, mains_material="polyester"), asked="mains_material", figures=FIGURES)
    assert agreed.verdict is Verdict.NOTHING


def test_yes_against_no_is_asked_again() -> None:
    """A yes that one ear took for a no confirms nothing."""
    agreed = agree([heard(intent="affirm")], heard(intent="deny"), asked="confirm", figures=FIGURES)
    assert agreed.verdict is Verdict.YES_OR_NO


def test_the_light_ear_alone_is_always_read_back() -> None:
    """Without the first ear nothing is kept unread."""
    agreed = agree(None, heard(plays_per_week=3, level="competitive"), asked="level", figures=FIGURES)
    assert agreed.doubted == ("plays_per_week", "level")
    assert agree(None, None, asked="level", figures=FIGURES).verdict is Verdict.NOTHING
    assert agree(None, nothing(), asked="level", figures=FIGURES).verdict is Verdict.NOTHING


VALUES = st.dictionaries(st.sampled_from(["level", "plays_per_week", "mains_tension", "reading"]), st.integers(0, 3))


@given(VALUES, VALUES, st.sampled_from(["level", "plays_per_week", None]))
def test_no_value_stands_that_only_one_ear_heard(
    first: dict[str, int], second: dict[str, int], asked: str | None
) -> None:
    """Whatever the ears hear, a value that is not read back was heard by both."""
    agreed = agree([heard(**first)], heard(-1.0, **second), asked=asked, figures=FIGURES)
    if agreed.taken is not None:
        for slot, value in agreed.taken.meaning.slots.items():
            assert slot in agreed.doubted or first.get(slot) == second.get(slot) == value
            assert slot in agreed.doubted or slot not in FIGURES.always
