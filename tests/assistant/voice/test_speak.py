"""The mouth makes every sentence, says them in order, and falls silent at once."""

from __future__ import annotations

import threading
import wave
from collections.abc import Iterator
from concurrent.futures import Future
from io import BytesIO
from pathlib import Path
from typing import Any

import jiwer
import numpy as np
import pytest

from assistant.channels.voice import speak
from assistant.channels.voice.ears import Ears
from assistant.channels.voice.errors import VoiceProblem
from assistant.channels.voice.figures import read_figures
from assistant.channels.voice.speak import FolderPlayer, Manner, Mouth, Sound, Speaker, make_all, to_wav
from tests.assistant.voice.conftest import to_audio
from tests.assistant.voice.players import PATIENCE, HeldPlayer
from tests.assistant.voice.speech import DITHER, read, to_sound


@pytest.fixture(scope="module")
def speaker() -> Iterator[Speaker]:
    """Return the one owner of the synthesiser."""
    speaker = Speaker()
    yield speaker
    speaker.close()


class HeldSpeaker(Speaker):
    """Gives out each sentence, made by another speaker, only when it is told to."""

    def __init__(self, speaker: Speaker) -> None:
        self._speaker = speaker
        self._held: list[tuple[Future[Sound], Future[Sound]]] = []

    def make(self, sentence: str, manner: Manner) -> Future[Sound]:
        """Return the sound of a sentence, which comes when it is given out."""
        future: Future[Sound] = Future()
        self._held.append((future, self._speaker.make(sentence, manner)))
        return future

    def give(self) -> int:
        """Give out the next sentence and return how many are left."""
        future, made = self._held.pop(0)
        future.set_result(made.result(timeout=PATIENCE))
        return len(self._held)


def test_every_sentence_is_made(speaker: Speaker) -> None:
    """Short and long sentences come out whole, one after the other, however many wait."""
    usual = Manner.usual()
    wanted = ["Yes.", "Restring soon.", "It has lost twenty percent since it was strung, " * 6, "Done."] * 6
    sounds = [future.result(timeout=PATIENCE) for future in [speaker.make(text, usual) for text in wanted]]
    for sound, again in zip(sounds[:4], sounds[4:8], strict=True):
        assert sound.seconds == pytest.approx(again.seconds, abs=0.05)
    assert sounds[2].seconds > 10 * sounds[0].seconds


def test_slower_and_louder(speaker: Speaker) -> None:
    """Slower takes longer, louder has more power, and both stop at a limit."""
    usual = Manner.usual()
    text = "The label says the third of December."
    slow, loud = usual.changed("slower").changed("slower"), usual.changed("quieter").changed("quieter")
    plain, slower, quieter = (speaker.make(text, manner).result(timeout=PATIENCE) for manner in (usual, slow, loud))
    assert slower.seconds > 1.1 * plain.seconds

    def power(sound: Sound) -> float:
        return float(np.mean(np.frombuffer(sound.samples, "<i2").astype(float) ** 2))

    assert power(quieter) < 0.7 * power(plain)
    for _ in range(20):
        usual = usual.changed("faster").changed("louder")
    assert usual == Manner(read_figures().speaking.fastest, 1.0)


def test_says_the_first_sentence_before_the_last_is_made(speaker: Speaker) -> None:
    """`say` returns before anything is made, each sentence is played once it is there, and the first sound is told."""
    held, player = HeldSpeaker(speaker), HeldPlayer(ends=True)
    mouth = Mouth(held, player)
    sounds_before: list[int] = []
    mouth.on_sound = lambda: sounds_before.append(len(player.begun))
    saying = threading.Thread(target=mouth.say, args=("Yes. That is the third of December. Bye.",), daemon=True)
    saying.start()
    saying.join(PATIENCE)
    assert not saying.is_alive(), "it waits for what it says"
    assert mouth.speaking
    assert player.begun == []
    for number in (1, 2, 3):
        assert held.give() == 3 - number
        assert player.has_begun(number)
        assert len(player.begun) == number
    assert mouth.wait(timeout=PATIENCE)
    assert sounds_before == [0], "told once, before the first sound"
    assert player.played == player.begun
    assert player.played[1].seconds > player.played[0].seconds


def test_falls_silent_at_once(speaker: Speaker) -> None:
    """Told to stop, it stops in the middle of a sentence and forgets the others; then it speaks again."""
    player = HeldPlayer()
    mouth = Mouth(speaker, player)
    mouth.say("This is a rather long sentence about the tension of the mains. And another one. And a third.")
    assert player.has_begun(1)
    player.order_silence(mouth.stop)
    assert mouth.wait(timeout=PATIENCE)
    assert player.late == 0
    assert player.cut == player.begun
    assert (len(player.begun), player.played) == (1, [])
    player.let_go()
    mouth.say("Go on.")
    assert mouth.wait(timeout=PATIENCE)
    assert len(player.played) == 1


def test_writes_what_it_says(speaker: Speaker, tmp_path: Path) -> None:
    """Without a loudspeaker what is said can be written as WAV files, with the short tone that says: heard."""
    mouth = Mouth(speaker, FolderPlayer(tmp_path))
    mouth.tone()
    mouth.say("Restring soon.")
    assert mouth.wait(timeout=PATIENCE)
    files = sorted(tmp_path.glob("said-*.wav"))
    assert len(files) == 2
    with wave.open(str(files[0])) as file:
        assert 0.05 < file.getnframes() / file.getframerate() < 0.2


def test_makes_one_file_for_a_browser(speaker: Speaker) -> None:
    """A text becomes one WAV file; nothing to say becomes nothing."""
    whole = to_wav(make_all(speaker, "Restring soon. By December third."))
    with wave.open(BytesIO(whole)) as file:
        assert file.getnframes() / file.getframerate() > 1.5
    assert to_wav(make_all(speaker, " ... ")) == b""


def test_prints_nothing(speaker: Speaker, capfd: pytest.CaptureFixture[str]) -> None:
    """Standard output belongs to the answers: the synthesiser's own remarks are kept from it."""
    speaker.make("Quiet, please.", Manner.usual()).result(timeout=PATIENCE)
    assert capfd.readouterr().out == ""


def test_names_a_missing_synthesiser(monkeypatch: pytest.MonkeyPatch) -> None:
    """Without a synthesiser the answers are shown only, and a sentence says so."""

    def missing() -> Any:
        raise VoiceProblem("no_speech")

    monkeypatch.setattr(speak, "_start_engine", missing)
    with pytest.raises(VoiceProblem, match="shown only"):
        Speaker()


def test_what_is_said_is_understood_again(speaker: Speaker, ears: Ears, tmp_path: Path) -> None:
    """What the mouth says of dates, units and signs comes back by the ear, with at most two words of five wrong."""
    assert ears.first is not None
    texts = {
        "label_due": ("Restring by 2027-03-21.", "restring by march twenty first twenty twenty seven"),
        "mains_tension": ("The mains are polyester, at 54 lb.", "the mains are polyester at fifty four pounds"),
        "reading": ("It has lost 20 % since it was strung.", "it has lost twenty percent since it was strung"),
    }
    plain = jiwer.Compose(
        [jiwer.ToLowerCase(), jiwer.RemovePunctuation(), jiwer.SubstituteWords(FIGURES), jiwer.RemoveMultipleSpaces()]
    )
    rng = np.random.default_rng(3)
    said, heard = [], []
    for asked, (text, words) in texts.items():
        path = tmp_path / f"{asked}.wav"
        path.write_bytes(to_wav(make_all(speaker, text)))
        sound = read(path)
        sound = to_sound(sound + rng.normal(0, DITHER, len(sound)))
        said.append(plain(words))
        heard.append(plain(ears.first.hear(to_audio(sound), asked).text.replace("%", " percent")))
    assert jiwer.wer(said, heard) < 2 / 5, heard


FIGURES = {
    "21st": "twenty first",
    "21": "twenty first",
    "2027": "twenty twenty seven",
    "54": "fifty four",
    "20": "twenty",
}
