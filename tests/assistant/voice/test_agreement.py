"""Two ears: what is taken, what is read back, and when neither has heard anything."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from hypothesis import given
from hypothesis import strategies as st

from assistant.channels.voice.agreement import Candidate, Verdict, agree
from assistant.channels.voice.figures import read_figures
from dialogue.messages import Understanding

FIGURES = read_figures().agreement
RIVAL = FIGURES.rival / 2
"""How far a wording may lie behind and still be as likely."""
LESS = -2 * FIGURES.rival
"""A wording that is much less likely."""


def heard(likelihood: float | None = -1.0, intent: str = "inform", foreign: float = 0, **slots: Any) -> Candidate:
    """Return a wording that means some values."""
    return Candidate(f"{intent} {slots}", Understanding("", intent, 0.95, slots), likelihood, 0.0, foreign)


def nothing(likelihood: float = -1.0) -> Candidate:
    """Return a wording that means nothing here."""
    return heard(likelihood, "out_of_scope")


def second(**slots: Any) -> list[Candidate]:
    """Return what the second ear heard, which the first was not asked about."""
    return [heard(None, **slots)]


def test_a_statement_without_a_value_is_nothing() -> None:
    """Words that sound like the trade but hold no value and ask nothing are asked for once more."""
    assert agree([heard(intent="inform")], [], asked="level", figures=FIGURES).verdict is Verdict.NOTHING
    assert agree([heard(intent="ask_why")], [], asked="level", figures=FIGURES).verdict is Verdict.ACCEPT
    assert agree([], second(level="competitive"), asked="level", figures=FIGURES).verdict is Verdict.NOTHING


def test_the_same_value_is_accepted() -> None:
    """What both ears heard needs no reading back, nor another hearing."""
    agreed = agree([heard(plays_per_week=3)], second(plays_per_week=3), asked="plays_per_week", figures=FIGURES)
    assert (agreed.verdict, agreed.doubted, agreed.settled) == (Verdict.ACCEPT, (), True)


def test_a_different_value_is_read_back() -> None:
    """Where the ears differ the first one's value is read back."""
    agreed = agree([heard(plays_per_week=3)], second(plays_per_week=4), asked="plays_per_week", figures=FIGURES)
    assert (agreed.verdict, agreed.doubted) == (Verdict.READ_BACK, ("plays_per_week",))
    assert agreed.taken is not None
    assert agreed.taken.meaning.slots == {"plays_per_week": 3}


def test_nobody_listens_once_more_where_everything_else_is_far_behind() -> None:
    """The ears differ, so the value is read back; but another hearing could change nothing."""
    for behind, settled in ((FIGURES.clear + 0.1, True), (FIGURES.clear - 0.1, False)):
        first = [heard(-1.0, plays_per_week=3), heard(-1.0 - behind, plays_per_week=5)]
        agreed = agree(first, second(plays_per_week=4), asked="plays_per_week", figures=FIGURES)
        assert (agreed.doubted, agreed.settled) == (("plays_per_week",), settled)


def test_a_value_that_one_ear_has_not_heard_is_read_back() -> None:
    """A value on top of the shared one is doubtful, the shared one is not."""
    first = heard(plays_per_week=3, level="competitive")
    agreed = agree([first], second(plays_per_week=3), asked="plays_per_week", figures=FIGURES)
    assert agreed.doubted == ("level",)


def test_tension_is_always_read_back() -> None:
    """A tension is read back however sure the ears are; they need not listen again for it."""
    value = {"value": 54, "unit": "lb"}
    agreed = agree([heard(mains_tension=value)], second(mains_tension=value), asked="mains_tension", figures=FIGURES)
    assert (agreed.doubted, agreed.apart, agreed.settled) == (("mains_tension",), (), True)


def test_what_the_second_ear_heard_too_comes_first() -> None:
    """Of two values nearly as likely, the one that the second ear heard is taken; the other is its rival."""
    first = [heard(-1.0, hours_per_play=0.32), heard(-1.5, hours_per_play=1.5)]
    agreed = agree(first, second(hours_per_play=1.5), asked="hours_per_play", figures=FIGURES)
    assert agreed.taken is first[1]
    assert agreed.doubted == ("hours_per_play",)


def test_what_the_second_ear_may_have_heard_counts_for_less() -> None:
    """Its other wordings speak for a value as well, but its best one speaks louder."""
    first = [heard(-1.0, hours_per_play=0.5), heard(-1.0, hours_per_play=1), heard(-1.0, hours_per_play=2)]
    others = [*second(hours_per_play=2), *second(hours_per_play=1)]
    taken = [agree(first[:size], others, asked="hours_per_play", figures=FIGURES).taken for size in (2, 3)]
    assert taken == [first[1], first[2]]


def test_of_two_values_the_one_that_people_say_comes_first() -> None:
    """A wording nearly as likely that sounds like an answer to the question wins over one that does not."""
    first = [heard(-1.0, reading=4), replace(heard(-1.5, reading=41), fit=10.0)]
    assert agree(first, [], asked="reading", figures=FIGURES).taken is first[1]


def test_wordings_that_mean_the_same_speak_together() -> None:
    """Three wordings of one value outweigh a single one that is a little likelier than each of them."""
    first = [heard(-1.0, reading=15), *(heard(-1.5, reading=50) for _ in range(3))]
    taken = agree(first, [], asked="reading", figures=FIGURES).taken
    assert taken is not None
    assert taken.meaning.slots == {"reading": 50}


def test_a_figure_among_foreign_words_is_other_talk() -> None:
    """Married "in the spring" is no answer to when; "poly" means the string whatever stands around it."""
    many = FIGURES.most_lead / FIGURES.foreign_leads
    when = {"value": "2027-04", "approx": True}
    talk = [heard(foreign=many, label_due=when)]
    assert agree(talk, second(label_due=when), asked="label_due", figures=FIGURES).verdict is Verdict.NOTHING
    assert agree([heard(label_due=when)], [], asked="label_due", figures=FIGURES).verdict is Verdict.READ_BACK
    material = heard(foreign=many, mains_material="polyester")
    assert agree([material], [], asked="mains_material", figures=FIGURES).taken is material


def test_a_figure_must_be_likelier_than_nothing() -> None:
    """Where other wordings hold no figure, each foreign word around one makes it less likely that it was said."""
    first = [heard(-1.0, foreign=0, reading=41), nothing(-1.0)]
    assert agree(first, [], asked="reading", figures=FIGURES).taken is first[0]
    first = [heard(-1.0, foreign=2, reading=41), nothing(-1.0)]
    assert agree(first, [], asked="reading", figures=FIGURES).verdict is Verdict.NOTHING


def test_a_rival_as_likely_is_read_back_though_both_ears_agree() -> None:
    """Both ears heard an hour, but half an hour is as likely: it is asked back."""
    first = [heard(-1.0, hours_per_play=1), heard(-1.0 - RIVAL + FIGURES.top_counts, hours_per_play=0.5)]
    agreed = agree(first, second(hours_per_play=1), asked="hours_per_play", figures=FIGURES)
    assert (agreed.verdict, agreed.doubted, agreed.settled) == (Verdict.READ_BACK, ("hours_per_play",), False)
    assert agreed.taken is first[0]


def test_an_unlikely_wording_does_not_count() -> None:
    """A value far behind the best is no rival, and is not taken though the second ear heard it."""
    first = [heard(-1.0, hours_per_play=0.32), heard(-1.0 + LESS, hours_per_play=1.5)]
    agreed = agree(first, second(hours_per_play=1.5), asked="hours_per_play", figures=FIGURES)
    assert agreed.taken is first[0]
    assert (agreed.doubted, agreed.rivals) == (("hours_per_play",), frozenset())


def test_the_second_ear_alone_counts_where_the_first_finds_it_likely() -> None:
    """An answer that only the second ear heard is read back, or left where the first finds it unlikely."""
    likely, unlikely = FIGURES.second_alone + 0.1, FIGURES.second_alone - 0.1
    agreed = agree([nothing()], [heard(likely, mains_material="polyester")], asked="mains_material", figures=FIGURES)
    assert (agreed.verdict, agreed.doubted) == (Verdict.READ_BACK, ("mains_material",))
    for other in ([heard(unlikely, mains_material="polyester")], second(mains_material="polyester")):
        agreed = agree([nothing()], other, asked="mains_material", figures=FIGURES)
        assert agreed.verdict is Verdict.NOTHING
    yes = [heard(likely, "affirm")]
    assert agree([nothing()], yes, asked="confirm", figures=FIGURES).verdict is Verdict.NOTHING


def test_yes_against_no_is_asked_again() -> None:
    """A yes that one ear took for a no confirms nothing."""
    agreed = agree([heard(intent="affirm")], [heard(None, "deny")], asked="confirm", figures=FIGURES)
    assert agreed.verdict is Verdict.YES_OR_NO


def test_the_light_ear_alone_is_always_read_back() -> None:
    """Without the first ear nothing is kept unread."""
    agreed = agree(None, second(plays_per_week=3, level="competitive"), asked="level", figures=FIGURES)
    assert agreed.doubted == ("plays_per_week", "level")
    assert agree(None, [], asked="level", figures=FIGURES).verdict is Verdict.NOTHING
    assert agree(None, [nothing()], asked="level", figures=FIGURES).verdict is Verdict.NOTHING


VALUES = st.dictionaries(st.sampled_from(["level", "plays_per_week", "mains_tension", "reading"]), st.integers(0, 3))


@given(VALUES, VALUES, st.sampled_from(["level", "plays_per_week", None]))
def test_no_value_stands_that_only_one_ear_heard(one: dict[str, int], other: dict[str, int], asked: str | None) -> None:
    """Whatever the ears hear, a value that is not read back was heard by both."""
    agreed = agree([heard(**one)], second(**other), asked=asked, figures=FIGURES)
    if agreed.taken is not None:
        for slot, value in agreed.taken.meaning.slots.items():
            assert slot in agreed.doubted or one.get(slot) == other.get(slot) == value
            assert slot in agreed.doubted or slot not in FIGURES.always
