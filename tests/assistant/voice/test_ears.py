"""Both ears hear synthetic voices; they are loaded once, and what cannot be loaded is named."""

from __future__ import annotations

import inspect
from pathlib import Path

import numpy as np
import pytest

from assistant.channels.voice.agreement import Verdict
from assistant.channels.voice.detect import find_utterances
from assistant.channels.voice.ears import Ears, WhisperEar, load_ears
from assistant.channels.voice.errors import VoiceProblem
from assistant.channels.voice.hear import Listener, Question
from assistant.channels.voice.live import LARGEST_PACKET, LiveEar
from assistant.channels.voice.wake import WakeEar
from dialogue.understanding import understand
from tests.assistant.voice import speech
from tests.assistant.voice.conftest import TODAY, Say, to_audio
from tests.assistant.voice.test_detect import source_of

Answer = tuple[str, str, str, object]
HEARD: list[Answer] = [
    ("plays_per_week", "three times a week", "rms", 3),
    ("level", "it is only for fun", "slt", "recreational"),
    ("mains_material", "it is polyester", "slt", "polyester"),
    ("breaks_strings", "no never", "awb", False),
]


@pytest.mark.parametrize("answer", HEARD, ids=lambda answer: answer[0])
def test_both_ears_hear_an_answer(answer: Answer, listener: Listener, say: Say) -> None:
    """A plain answer is understood alike by both ears, for the slot that was asked."""
    asked, text, voice, value = answer
    heard = listener.hear(to_audio(say(text, voice)), Question(asked, TODAY))
    assert heard.meaning is not None
    assert heard.meaning.slots[asked] == value
    assert asked not in heard.agreed.apart
    assert set(heard.ears) == {"whisper", "grammar"}


def test_a_shop_s_own_words_for_groups_are_heard(listener: Listener, say: Say) -> None:
    """Words that stand in no cue file, only in the shop's rulebook, are listened for where the group is asked."""
    question = Question("group", TODAY, choices=("Academy", "Wheelchair", "None of these"))
    heard = listener.hear(to_audio(say("he is in the wheelchair squad", "slt")), question)
    assert heard.meaning is not None
    assert heard.meaning.slots == {"group": "Wheelchair"}
    assert "wheelchair" in heard.ears["grammar"].text
    assert heard.agreed.doubted == ()


def test_a_tension_is_heard_and_read_back(listener: Listener, say: Say) -> None:
    """A tension is right and still read back."""
    heard = listener.hear(to_audio(say("fifty four pounds", "rms")), Question("mains_tension", TODAY))
    assert heard.meaning is not None
    assert heard.meaning.slots["mains_tension"] == {"value": 54, "unit": "lb"}
    assert heard.agreed.verdict is Verdict.READ_BACK


def test_talk_of_other_things_is_no_answer(listener: Listener, say: Say) -> None:
    """Small talk leaves no value, whatever was asked, though the grammar of the question hears one in it."""
    for asked in ("plays_per_week", "mains_material"):
        heard = listener.hear(to_audio(say("it looks like rain again this afternoon", "slt")), Question(asked, TODAY))
        assert heard.meaning is None or not heard.meaning.slots


def test_the_light_ear_alone_hears_and_doubts(ears: Ears, say: Say) -> None:
    """Without the large model an answer is still heard, and read back."""
    light = Listener(Ears(None, ears.second), understand)
    try:
        heard = light.hear(to_audio(say("twice a week", "slt")), Question("plays_per_week", TODAY))
        assert heard.meaning is not None
        assert heard.meaning.slots == {"plays_per_week": 2}
        assert heard.agreed.doubted == ("plays_per_week",)
        assert heard.second is None
    finally:
        light.close()


def test_every_window_hears_the_same(ears: Ears, say: Say) -> None:
    """A clip is understood in the short, the middle and the full window.

    The shorter ones rest on the model's inner workings, so this fails first should those change.
    """
    assert ears.first is not None
    assert "features" in inspect.signature(ears.first._model.encode).parameters
    spoken = say("I play three times a week", "rms")
    for seconds in (4.0, 9.0, 16.0):
        sound = speech.pad(spoken, before=0.0, after=seconds - len(spoken) / speech.RATE)
        assert "three times" in ears.first.hear(to_audio(sound), "plays_per_week").text.lower().replace("3", "three")


def test_what_was_said_is_likelier_than_what_was_not(ears: Ears, say: Say) -> None:
    """The first ear finds words that were said much likelier than others."""
    assert ears.first is not None
    heard = ears.first.hear(to_audio(say("every other day", "slt")), "plays_per_week")
    assert ears.first.judge(heard, "every other day") > ears.first.judge(heard, "just for fun") + 1


def test_noise_is_not_heard(ears: Ears) -> None:
    """Should noise get past the detector, the first ear finds no likely words in it."""
    listener = Listener(ears, understand)
    try:
        sound = speech.to_sound(speech.noise("pink")[: 2 * speech.RATE] * 800)
        heard = listener.hear(to_audio(sound), Question("plays_per_week", TODAY))
        assert heard.meaning is None or not heard.meaning.slots
    finally:
        listener.close()


def test_names_a_missing_or_broken_model(tmp_path: Path) -> None:
    """A model folder that is empty, or holds something else, is named with what to do."""
    with pytest.raises(VoiceProblem, match="no speech model"):
        load_ears(str(tmp_path))
    (tmp_path / "model.bin").write_bytes(b"no model")
    with pytest.raises(VoiceProblem, match="cannot be used"):
        load_ears(str(tmp_path))


def test_a_name_no_dictionary_has_is_sounded_out(ears: Ears) -> None:
    """The name of a customer gets a pronunciation from its letters."""
    assert ears.words is not None
    assert ears.words.sound_out("okoro").split() == ["OW", "K", "AO", "R", "OW"]
    assert ears.second is not None
    ears.second.prepare("customer_name", ["Zbrinka Okoro"])
    assert ears.second._decoder.lookup_word("zbrinka") is not None


def test_a_browser_is_heard_packet_by_packet(listener: Listener, say: Say) -> None:
    """Packets of a tenth of a second give the beginning and then the answer; too large ones are left out."""
    sound = speech.pad(say("twice a week", "slt"), before=0.5, after=1.0).astype("<i2").tobytes()
    question = Question("plays_per_week", TODAY)
    live = LiveEar(listener)
    assert list(live.feed(b"\0" * (LARGEST_PACKET + 2), question)) == []
    happened = [one for at in range(0, len(sound), 3200) for one in live.feed(sound[at : at + 3200], question)]
    assert [one.kind for one in happened] == ["started", "heard"]
    assert happened[1].hearing is not None
    assert happened[1].hearing.meaning is not None
    assert happened[1].hearing.meaning.slots == {"plays_per_week": 2}
    assert list(live.finish(question)) == []


def test_the_wake_phrase_wakes(ears: Ears, say: Say) -> None:
    """The wake phrase is noticed and other talk is not."""
    assert ears.words is not None
    ear = WakeEar(ears.words, "hello counter")

    def woken(text: str) -> bool:
        sound = speech.pad(say(text, "slt"), before=0.5, after=0.7).astype("<i2").tobytes()
        return [ear.feed(sound[at : at + 1024]) for at in range(0, len(sound) - 1024, 1024)].count(True) > 0

    assert woken("hello counter")
    assert not woken("where did you park the car")


def test_the_detector_gives_the_ears_what_they_need(listener: Listener, say: Say) -> None:
    """Found by the detector in noise, an answer is still understood."""
    sound = speech.mix(speech.pad(say("three times a week", "rms"), before=1.0, after=1.5), "hum", 15)
    found = next(find_utterances(source_of(sound)))
    heard = listener.hear(found.audio, Question("plays_per_week", TODAY))
    assert heard.meaning is not None
    assert heard.meaning.slots == {"plays_per_week": 3}


def test_a_clip_of_nothing_is_heard_as_nothing(ears: Ears) -> None:
    """Sound without a single sample is no reason to fail."""
    assert isinstance(ears.first, WhisperEar)
    assert ears.first.hear(to_audio(np.zeros(160, np.int16)), None).text is not None
