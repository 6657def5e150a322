"""What is listened for comes from the cue files: every question has it, and a word added there is heard."""

from __future__ import annotations

import math
import shutil
from collections import defaultdict
from itertools import pairwise
from pathlib import Path

import pytest
import yaml
from hypothesis import given
from hypothesis import strategies as st

from dialogue.grammar.ngrams import END, START, count_trigrams
from dialogue.grammar.spoken import LONGEST_VOCABULARY, MOST, SpokenQuestions
from dialogue.understanding.cuebook import CUE_FOLDER

DOMAIN = Path(CUE_FOLDER).parents[1] / "domain" / "domain.yml"
QUESTIONS = SpokenQuestions(lambda _: True)


def chances(arpa: str) -> dict[tuple[str, ...], tuple[float, float]]:
    """Return every entry of a model: its chance and its back-off weight."""
    entries = {}
    for line in arpa.splitlines():
        fields = line.split("\t")
        if len(fields) > 1:
            weight = 10 ** float(fields[2]) if len(fields) > 2 else 1.0
            entries[tuple(fields[1].split())] = (10 ** float(fields[0]), weight)
    return entries


def chance(entries: dict[tuple[str, ...], tuple[float, float]], words: tuple[str, ...]) -> float:
    """Return the chance of the last word after the others, backing off as the format says (Katz 1987)."""
    if words in entries:
        return entries[words][0]
    if len(words) == 1:
        return 0.0
    return entries.get(words[:-1], (0, 1.0))[1] * chance(entries, words[1:])


SENTENCES = st.lists(
    st.lists(st.sampled_from(["once", "twice", "a", "week"]), min_size=1, max_size=4), min_size=1, max_size=6
)


@given(SENTENCES)
def test_the_chances_after_any_words_are_one_in_all(said: list[list[str]]) -> None:
    """After every pair of words that was said, the chances of all words sum to one."""
    entries = chances(count_trigrams(" ".join(words) for words in said).to_arpa())
    known = {gram[0] for gram in entries if len(gram) == 1 and gram[0] != START}
    pairs = {pair for words in said for pair in pairwise([START, *words])}
    for pair in pairs:
        assert sum(chance(entries, (*pair, word)) for word in known) == pytest.approx(1, abs=0.01)


def test_what_was_said_often_is_likely() -> None:
    """By hand: of three sentences that go on after "twice a", all with "week"; half of the discount is left over."""
    entries = chances(count_trigrams(["twice a week", "twice a week", "twice a week", "once a month"]).to_arpa())
    unigram = 3 / 16
    bigram = (3 - 0.5) / 4 + 0.5 * 2 / 4 * unigram
    assert entries["twice", "a", "week"][0] == pytest.approx((3 - 0.5) / 3 + 0.5 / 3 * bigram, rel=1e-3)
    assert END in {gram[-1] for gram in entries}


@given(SENTENCES, st.lists(st.sampled_from(["once", "twice", "a", "week"]), max_size=5))
def test_judges_words_by_the_same_chances(said: list[list[str]], words: list[str]) -> None:
    """How likely words are is the product of the chances that the ARPA form gives them."""
    model = count_trigrams(" ".join(words) for words in said)
    entries = chances(model.to_arpa())
    whole = [START, *words, END]
    if any((word,) not in entries for word in words):
        assert model.judge(words) < -1
        return
    product = math.prod(chance(entries, tuple(whole[max(0, at - 2) : at + 1])) for at in range(1, len(whole)))
    assert model.judge(words) * (len(words) + 1) == pytest.approx(math.log(product), abs=0.01)


def test_small_talk_is_unlikely_as_an_answer() -> None:
    """An answer that stands in no cue file word for word is far likelier than talk of other things."""
    answer = QUESTIONS.judge(["i", "would", "say", "three", "times", "in", "a", "normal", "week"], "plays_per_week")
    other = QUESTIONS.judge(["did", "you", "see", "the", "film", "last", "night"], "plays_per_week")
    assert answer > other + 3


@pytest.mark.parametrize("question", QUESTIONS.names)
def test_every_question_is_listened_for(question: str) -> None:
    """Each question has sentences, not too many, a vocabulary that is not too long, and no sign that nobody can say."""
    said = QUESTIONS.sentences(question, ["Maya Okoro"])
    assert 30 < len(said) < 1.6 * MOST
    assert all(word.replace("'", "").isalpha() for sentence in said for word in sentence.lower().split())
    assert len(QUESTIONS.vocabulary(question, ["Maya Okoro"])) < LONGEST_VOCABULARY + 60


def test_a_shop_s_own_words_are_listened_for_where_the_group_is_asked() -> None:
    """The words that come along are said in answers and stand in the vocabulary; the usual ones stay."""
    said = QUESTIONS.sentences("group", ["wheelchair"])
    assert any("wheelchair" in sentence for sentence in said)
    assert any("junior" in sentence for sentence in said)
    assert "Wheelchair" in QUESTIONS.vocabulary("group", ["Wheelchair"])
    assert QUESTIONS.judge(["wheelchair"], "group", ["Wheelchair"]) > QUESTIONS.judge(["wheelchair"], "group") + 2


def test_every_slot_of_the_conversation_has_its_question() -> None:
    """No slot that a form may ask for is listened for as if nothing had been asked."""
    forms = yaml.safe_load(DOMAIN.read_text(encoding="utf8"))["forms"]
    slots = {slot for form in forms.values() for slot in form["required_slots"]}
    assert {slot for slot in slots if QUESTIONS.question(slot) == "open"} == set()


def test_the_same_question_is_always_listened_for_alike() -> None:
    """The grammar is drawn at random but is the same in every run, so that figures can be compared."""
    assert SpokenQuestions(lambda _: True).grammar("level") == QUESTIONS.grammar("level")


def test_a_word_added_to_a_cue_file_is_heard(tmp_path: Path) -> None:
    """A new name for a material in the typed cues is in the grammar and in the vocabulary at once."""
    cues = tmp_path / "cues"
    shutil.copytree(CUE_FOLDER, cues)
    text = (cues / "materials.yaml").read_text(encoding="utf8")
    row = '  - {id: spider, value: aramid, says: ["(spider silk|spider thread)"]}\n'
    (cues / "materials.yaml").write_text(text.replace("rows:\n", f"rows:\n{row}", 1), encoding="utf8")
    fresh = SpokenQuestions(lambda _: True, cues)
    assert "spider silk" in fresh.grammar("mains_material")
    assert "spider silk" in fresh.vocabulary("mains_material").lower()
    assert "spider" not in QUESTIONS.grammar("mains_material")
    assert "spider" in fresh.words()


def test_figures_of_the_cues_are_said_in_words() -> None:
    """What the cues write as "1.5 hours" and "2 times" is listened for as people say it."""
    said = " | ".join(QUESTIONS.sentences("hours_per_play") + QUESTIONS.sentences("plays_per_week"))
    for words in ("hour and a half", "twice", "once"):
        assert words in said


def test_words_without_a_sound_are_left_out() -> None:
    """A misspelling that only a keyboard makes is not listened for."""
    questions = SpokenQuestions(lambda word: word != "fortnite")
    assert "fortnite" not in {word for sentence in questions.sentences("plays_per_week") for word in sentence.split()}


def test_names_on_record_are_listened_for() -> None:
    """Where a name is asked, the customers on record are in the grammar and the vocabulary; elsewhere they are not."""
    assert "okoro" in QUESTIONS.grammar("customer_name", ["maya okoro"])
    assert "Okoro" in QUESTIONS.vocabulary("customer_name", ["Maya Okoro"])
    assert "okoro" not in QUESTIONS.grammar("level", ["maya okoro"])


def test_more_said_is_more_likely() -> None:
    """A wording that a cue file spells out is likelier than the same words in another order."""
    entries = chances(QUESTIONS.grammar("plays_per_week"))

    def likelihood(sentence: str) -> float:
        words = [START, START, *sentence.split(), END]
        total = 0.0
        for at in range(2, len(words)):
            history = tuple(words[at - 2 : at + 1]) if at > 2 else tuple(words[at - 1 : at + 1])
            total += math.log(max(chance(entries, history), 1e-12))
        return total

    ranked: dict[bool, list[float]] = defaultdict(list)
    for right, wrong in (("three times a week", "a three week times"), ("every other day", "day every other")):
        ranked[True].append(likelihood(right))
        ranked[False].append(likelihood(wrong))
    assert min(ranked[True]) > max(ranked[False])
