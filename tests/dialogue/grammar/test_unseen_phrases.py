"""The phrases that the ears are judged by are not those that they listen for."""

from __future__ import annotations

import re
from pathlib import Path

from dialogue.grammar import spoken
from dialogue.grammar.spoken import SpokenQuestions
from dialogue.understanding.cuebook import CUE_FOLDER
from tests.benchmarks.voice_phrases import TUNED, UNSEEN, read_phrases

LONG = 4
"""Words; shorter answers ("yes correct") can hardly be said in another way."""


def test_the_ears_are_judged_by_phrases_that_they_were_not_made_of() -> None:
    """No longer phrase stands in a cue file, is drawn for a grammar or was tuned by, and of all at most a tenth."""
    questions = SpokenQuestions(lambda _: True)
    files = [*sorted(CUE_FOLDER.glob("*.yaml")), Path(spoken.__file__).parent / "questions.yaml"]
    listened_for = " ".join(re.sub(r"\s+", " ", path.read_text(encoding="utf8")).lower() for path in files)
    drawn = {name: set(questions.sentences(name)) for name in questions.names}
    tuned = {_plain(phrase.say) for phrase in read_phrases(TUNED)}
    phrases = read_phrases(UNSEEN)
    known = [
        said
        for phrase in phrases
        if (said := _plain(phrase.say)) in listened_for
        or said in tuned
        or said in drawn[questions.question(phrase.asked)]
    ]
    assert [said for said in known if len(said.split()) >= LONG] == []
    assert len(known) <= len(phrases) / 10
    assert len(phrases) >= 200
    assert {phrase.asked for phrase in phrases} >= {phrase.asked for phrase in read_phrases(TUNED)}


def _plain(said: str) -> str:
    return said.lower().replace(",", "")
