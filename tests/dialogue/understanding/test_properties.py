"""What holds for any text at all, and for any number and day."""

from __future__ import annotations

import datetime as dt
import json
import time
from concurrent.futures import ThreadPoolExecutor

import dateparser
import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from num2words import num2words

from dialogue import understanding
from dialogue.messages import Understanding
from dialogue.understanding import prepare, understand
from dialogue.understanding.understander import Understander
from tests.dialogue.understanding.scoring import REFERENCE_DAY, read_corpus

ASKED = st.sampled_from(
    [
        None,
        "confirm",
        "level",
        "plays_per_week",
        "hours_per_play",
        "mains_material",
        "crosses_material",
        "mains_tension",
        "crosses_tension",
        "strung_on",
        "label_due",
        "league_start",
        "baseline",
        "reading",
        "reading_kind",
        "symptoms",
        "breaks_strings",
        "customer_name",
        "customer_phone",
        "customer_choice",
        "racquet_count",
        "sport",
        "remember",
        "dead_means",
    ]
)
CHANNELS = st.sampled_from(["typed", "voice"])
INTENTS = frozenset(
    {
        "inform",
        "affirm",
        "deny",
        "correct",
        "ask_when",
        "ask_why",
        "ask_why_question",
        "ask_what_if",
        "ask_reading_help",
        "ask_guarantee",
        "ask_due_list",
        "ask_next",
        "ask_advice",
        "mark_strung",
        "ask_label",
        "log_reading",
        "pickup",
        "drop_off",
        "dont_know",
        "repeat",
        "back",
        "restart",
        "stop",
        "human",
        "greet",
        "thanks",
        "out_of_scope",
    }
)
CORPUS_WORDS = st.lists(
    st.sampled_from(sorted({word for line in read_corpus() for word in line.text.split()})), min_size=1, max_size=60
).map(" ".join)
SHORT, TIMES_AS_LONG, TIMES_THE_TIME = 190, 10, 30
"""Of so many characters, and of the same said ten times over: what grows by the square would take a hundred times."""
TRIES = 8


def assert_valid(meant: Understanding) -> None:
    """Check that an understanding is whole: a known intent, plain values, spans that lie in the text."""
    assert meant.intent in INTENTS
    json.dumps(dict(meant.slots))
    assert 0 <= meant.confidence <= 1
    for evidence in meant.evidence:
        start, end = evidence.span
        assert 0 <= start <= end <= len(meant.text)
        assert meant.text[start:end] == evidence.words
        assert evidence.rule
    assert set(meant.slots) <= {evidence.slot for evidence in meant.evidence}


@settings(max_examples=120, deadline=None)
@given(st.text(), ASKED, CHANNELS)
def test_any_text_is_understood_somehow(text: str, asked: str | None, channel: str) -> None:
    """No text makes the understander fall over."""
    assert_valid(understand(text, asked=asked, channel=channel, today=REFERENCE_DAY, explain=True))


@settings(max_examples=120, deadline=None)
@given(CORPUS_WORDS, ASKED, CHANNELS, st.dates(dt.date(1990, 1, 1), dt.date(2090, 12, 31)))
def test_any_jumble_of_the_trades_words_is_understood_somehow(
    text: str, asked: str | None, channel: str, today: dt.date
) -> None:
    """Nor does any order of real words, on any day."""
    assert_valid(understand(text, asked=asked, channel=channel, today=today))


@settings(max_examples=30, deadline=None)
@given(
    st.one_of(
        st.text(min_size=SHORT, max_size=400),
        st.lists(CORPUS_WORDS, min_size=10, max_size=20).map(" ".join),
        st.sampled_from(
            ["twice a week ", "1 ", "one to two or ", "not poly ", "( ", "<b>", "55/53 ", "a ", "'", "who is "]
        ).map(lambda piece: piece * SHORT),
    ),
    ASKED,
    CHANNELS,
)
@example("one to two or " * 1500, "reading", "voice")
def test_long_texts_take_their_time_and_no_more(text: str, asked: str | None, channel: str) -> None:
    """Time grows with the length and hardly faster, however the text is made.

    It is the thread's own time, short against long, each as quick as it ever was: that is the same on a busy machine.
    """

    def time_of(said: str) -> float:
        start = time.thread_time()
        meant = understand(said, asked=asked, channel=channel, today=REFERENCE_DAY)
        assert len(meant.text) <= 2 * 2000
        return time.thread_time() - start

    short = text[:SHORT]
    long = " ".join([short] * TIMES_AS_LONG)
    least = {said: time_of(said) for said in (short, long)}
    for _ in range(TRIES):
        if least[long] <= TIMES_THE_TIME * least[short]:
            return
        least = {said: min(taken, time_of(said)) for said, taken in least.items()}
    pytest.fail(f"{TIMES_AS_LONG} times as long takes {least[long] / least[short]:.0f} times as long: {short!r}")


@settings(max_examples=150, deadline=None)
@given(st.integers(0, 150))
def test_number_words_are_read_as_their_figure(number: int) -> None:
    """Against num2words: "fifty-four" is 54, whatever was asked for."""
    said = num2words(number)
    meant = understand(said, asked="reading", channel="voice", today=REFERENCE_DAY)
    assert meant.slots["reading"]["value"] == number


@settings(max_examples=60, deadline=None)
@given(st.integers(1, 99))
def test_halves_are_read_as_halves(number: int) -> None:
    """Against num2words: "fifty-four and a half" is 54.5."""
    meant = understand(f"{num2words(number)} and a half", asked="reading", channel="voice", today=REFERENCE_DAY)
    assert meant.slots["reading"]["value"] == number + 0.5


@settings(max_examples=150, deadline=None)
@given(st.dates(dt.date(2015, 1, 1), REFERENCE_DAY), st.sampled_from(["%d %B %Y", "%B %d, %Y", "%d %b %Y", "%Y-%m-%d"]))
def test_full_dates_are_read_as_another_reader_reads_them(day: dt.date, form: str) -> None:
    """Against dateparser on the same words."""
    said = day.strftime(form)
    meant = understand(said, asked="strung_on", today=REFERENCE_DAY)
    other = dateparser.parse(said, languages=["en"])
    assert other is not None
    assert meant.slots["strung_on"] == {"value": other.date().isoformat(), "approx": False}


@settings(max_examples=100, deadline=None)
@given(st.dates(REFERENCE_DAY - dt.timedelta(364), REFERENCE_DAY), st.sampled_from(["ordinal", "plain"]))
def test_days_without_a_year_lie_in_the_past_for_the_stringing(day: dt.date, form: str) -> None:
    """Said "the third of September", it is the last one there was."""
    said = f"the {num2words(day.day, to='ordinal')} of {day:%B}" if form == "ordinal" else f"{day:%B} {day.day}"
    meant = understand(said, asked="strung_on", channel="voice", today=REFERENCE_DAY)
    assert meant.slots["strung_on"] == {"value": day.isoformat(), "approx": False}


@settings(max_examples=100, deadline=None)
@given(st.integers(1, 60), st.sampled_from([("day", "D"), ("week", "W"), ("month", "M"), ("year", "Y")]))
def test_spans_are_kept_as_they_were_said(number: int, unit: tuple[str, str]) -> None:
    """Said "six months ago" is -P6M, and approximate."""
    name, letter = unit
    said = f"{num2words(number)} {name}{'s' if number > 1 else ''} ago"
    meant = understand(said, asked="strung_on", channel="voice", today=REFERENCE_DAY)
    assert meant.slots["strung_on"] == {"value": f"-P{number}{letter}", "approx": True}


def test_the_language_is_loaded_once_and_each_of_its_patterns_can_be_read(monkeypatch: pytest.MonkeyPatch) -> None:
    """Every turn shares one understander, also where somebody speaks while it is being loaded."""
    made: list[Understander] = []

    def load() -> Understander:
        made.append(Understander())
        return made[-1]

    monkeypatch.setattr(understanding, "Understander", load)
    understanding._loaded.cache_clear()
    with ThreadPoolExecutor(4) as counters:
        loading = counters.submit(prepare)
        meant = list(counters.map(lambda text: understand(text, today=REFERENCE_DAY), ["twice a week"] * 3))
        loading.result()
    assert len(made) == 1
    assert [dict(one.slots) for one in meant] == [{"plays_per_week": 2}] * 3
    patterns = [compiled for row in made[0].book.rows for compiled in row.says if compiled.phrases is None]
    assert len(patterns) > 500
    assert all("pattern" in vars(compiled) for compiled in patterns), "not compiled"


def test_a_number_without_end_is_no_reading() -> None:
    """More digits than anything is counted in are no figure at all."""
    meant = understand(f"it read {'9' * 400} fresh", asked="baseline", today=REFERENCE_DAY)
    assert_valid(meant)
    assert "baseline" not in meant.slots
