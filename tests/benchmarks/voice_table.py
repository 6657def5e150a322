"""Measures the ears on synthetic speech: phrases by voices and noises, per ear and for the rule; prints one table."""

from __future__ import annotations

import argparse
import statistics
import sys
import tempfile
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import jiwer
from speech_recognition import AudioData

from assistant.channels.voice.agreement import ANSWERS, Verdict, same_value
from assistant.channels.voice.audio import RATE, WIDTH, BytesSource
from assistant.channels.voice.detect import find_utterances
from assistant.channels.voice.ears import load_ears
from assistant.channels.voice.hear import READ_AS, Hearing, Listener, Question
from dialogue.lesson_words import with_lessons
from dialogue.messages import Understanding
from dialogue.understanding import understand
from tests.assistant.voice import speech
from tests.benchmarks.voice_phrases import TODAY, TUNED, UNSEEN, Phrase, agrees, read_off_topic, read_phrases

SCENES: dict[str, tuple[str, float] | None] = {
    "clean": None,
    "pink 20 dB": ("pink", 20),
    "pink 10 dB": ("pink", 10),
    "motor hum 10 dB": ("hum", 10),
    "ball hits 10 dB": ("hits", 10),
}
FIGURES = jiwer.Compose([jiwer.ToLowerCase(), jiwer.RemovePunctuation(), jiwer.RemoveMultipleSpaces(), jiwer.Strip()])


@dataclass
class Cell:
    """What was counted in one scene."""

    clips: int = 0
    written: int = 0
    """Phrases that are understood when they are typed: more can never be heard."""
    whisper: int = 0
    grammar: int = 0
    rule: int = 0
    """Phrases of which the rule took exactly the right values, at once or to be read back."""
    at_once: int = 0
    """Those of them that were taken without being read back."""
    wrong: int = 0
    """Phrases in which the rule took a wrong value."""
    unread: int = 0
    """Wrong values that were taken without being read back."""
    off_topic: int = 0
    off_topic_valued: int = 0
    """Small talk in which a value was heard."""
    off_topic_unread: int = 0
    said: list[str] = field(default_factory=list)
    heard: list[str] = field(default_factory=list)
    seconds: list[float] = field(default_factory=list)
    misses: list[str] = field(default_factory=list)

    def percent(self, count: int, whole: int | None = None) -> float:
        """Return a count as a share of the clips."""
        return 100 * count / max(1, self.clips if whole is None else whole)


class Bench:
    """The ears, and the clips that they have heard so far."""

    def __init__(self, folder: Path, phrases: str = UNSEEN) -> None:
        self.listener = Listener(load_ears(), with_lessons(understand))
        self._folder = folder
        self._phrases = phrases

    def measure(self, scene: str, voices: Sequence[str], step: int = 1, off_step: int = 1) -> Cell:
        """Return what is heard in one scene; each phrase by one voice in turn."""
        cell = Cell()
        for number, phrase in enumerate(read_phrases(self._phrases)[::step]):
            self._count(cell, phrase, self._hear(phrase, voices[number % len(voices)], scene, number))
        for number, phrase in enumerate(read_off_topic(self._phrases)[::off_step]):
            heard = self._hear(phrase, voices[number % len(voices)], scene, number)
            cell.off_topic += 1
            slots = heard.meaning.slots if heard.meaning else {}
            if slots:
                cell.misses.append(
                    f"small talk after {phrase.asked}: {phrase.say!r} heard {heard.text!r}: {dict(slots)}"
                )
            cell.off_topic_valued += bool(slots)
            cell.off_topic_unread += any(slot not in heard.agreed.doubted for slot in slots)
        return cell

    def measure_noise(self, seconds: int = 20) -> int:
        """Return in how many scenes of noise alone a value was heard."""
        valued = 0
        for kind in speech.NOISES:
            sound = speech.to_sound(speech.noise(kind)[: seconds * RATE] * 1500)
            source = BytesSource()
            source.put(sound.astype("<i2").tobytes())
            source.close()
            for utterance in find_utterances(source):
                heard = self.listener.hear(utterance.audio, Question("plays_per_week", TODAY))
                valued += bool(heard.meaning and heard.meaning.slots)
        return valued

    def _hear(self, phrase: Phrase, voice: str, scene: str, seed: int) -> Hearing:
        sound = speech.say(phrase.say, voice, self._folder)
        if noise := SCENES[scene]:
            sound = speech.mix(sound, *noise, seed=seed)
        audio = AudioData(sound.astype("<i2").tobytes(), RATE, WIDTH)
        return self.listener.hear(audio, Question(phrase.asked, TODAY))

    @staticmethod
    def _count(cell: Cell, phrase: Phrase, heard: Hearing) -> None:
        first, second = heard.ears["whisper"], heard.ears["grammar"]
        slots = heard.meaning.slots if heard.meaning else {}
        right = is_right(heard.meaning, phrase) and heard.agreed.verdict is not Verdict.YES_OR_NO
        cell.clips += 1
        cell.written += is_right(read(phrase.say, phrase.asked), phrase)
        cell.whisper += is_right(read(first.text, phrase.asked), phrase)
        cell.grammar += is_right(read(second.text, phrase.asked), phrase)
        cell.rule += right
        cell.at_once += right and heard.agreed.verdict is Verdict.ACCEPT
        wrong = [slot for slot, value in slots.items() if not agrees({slot: value}, only(phrase, slot))]
        turned = phrase.intent in ANSWERS and heard.agreed.verdict is Verdict.ACCEPT and not right and _answers(heard)
        cell.wrong += bool(wrong) or turned
        cell.unread += any(slot not in heard.agreed.doubted for slot in wrong) or turned
        cell.said.append(FIGURES(phrase.say))
        cell.heard.append(FIGURES(first.text) or "-")
        cell.seconds.append(heard.seconds)
        if not right:
            cell.misses.append(
                f"{phrase.asked}: {phrase.say!r} heard {heard.text!r} and {heard.second!r}: {dict(slots)}"
            )


def _answers(heard: Hearing) -> bool:
    return heard.meaning is not None and heard.meaning.intent in ANSWERS


def only(phrase: Phrase, slot: str) -> Phrase:
    """Return a phrase with one of its values."""
    return Phrase(phrase.asked, phrase.say, {slot: phrase.slots[slot]} if slot in phrase.slots else {})


def read(text: str, asked: str | None) -> Understanding | None:
    """Return what a text means as an answer."""
    if not text:
        return None
    return understand(text, asked=READ_AS.get(asked or "", asked), channel="voice", today=TODAY)


def is_right(meaning: Understanding | None, phrase: Phrase) -> bool:
    """Tell whether exactly what was said was understood."""
    if meaning is None:
        return False
    if phrase.intent is not None and not phrase.slots:
        return meaning.intent == phrase.intent
    return agrees(meaning.slots, phrase) or same_value(dict(meaning.slots), dict(phrase.slots))


def word_error(cell: Cell) -> float:
    """Return the word error rate of the first ear, in percent, figures counting as wrong words."""
    return 100 * float(jiwer.wer(cell.said, cell.heard))


HEADINGS = (
    "scene",
    "clips",
    "typed",
    "whisper",
    "grammar",
    "right",
    "at once",
    "read back",
    "wrong",
    "unread",
    "small talk",
    "WER",
    "s",
)


def rows(cells: Iterable[tuple[str, Cell]]) -> Iterator[tuple[str, ...]]:
    """Yield the lines of the table; all but clips, WER and seconds in percent."""
    yield HEADINGS
    for scene, cell in cells:
        shares = [cell.written, cell.whisper, cell.grammar, cell.rule, cell.at_once, cell.rule - cell.at_once]
        shares += [cell.wrong, cell.unread]
        yield (
            scene,
            str(cell.clips),
            *(f"{cell.percent(count):.1f}" for count in shares),
            f"{cell.percent(cell.off_topic_valued, cell.off_topic):.1f}",
            f"{word_error(cell):.0f}",
            f"{statistics.median(cell.seconds):.2f}",
        )


def main() -> int:
    """Print the table, and with --misses what was not understood."""
    parser = argparse.ArgumentParser(description=__doc__)
    parser.add_argument("--scene", choices=SCENES, action="append", help="a scene (default: all)")
    parser.add_argument("--step", type=int, default=1, help="take every so manieth phrase")
    parser.add_argument("--hard-voices", action="store_true", help="use the two voices that are hard to follow instead")
    parser.add_argument("--tuned", action="store_true", help="say the phrases that the ears were tuned by")
    parser.add_argument("--misses", action="store_true", help="list what was not understood")
    options = parser.parse_args()
    voices = speech.HARD_VOICES if options.hard_voices else speech.VOICES
    out = sys.stdout
    out.write(
        f"synthetic speech, voices: {', '.join(voices)}; in percent but for clips and s (median seconds of the ears)\n"
        'right = at once + read back (offered as "did you mean"); unread = a wrong value that was taken at once\n'
    )
    with tempfile.TemporaryDirectory() as folder:
        bench = Bench(Path(folder), TUNED if options.tuned else UNSEEN)
        cells = []
        for number, scene in enumerate(options.scene or SCENES):
            cells.append((scene, bench.measure(scene, voices, options.step, options.step)))
            for row in list(rows(cells))[0 if number == 0 else -1 :]:
                out.write("".join(f"{field:<17}" if at == 0 else f"{field:>11}" for at, field in enumerate(row)) + "\n")
                out.flush()
        out.write(f"values heard in a minute of noise alone: {bench.measure_noise()}\n")
        if options.misses:
            for scene, cell in cells:
                out.writelines(f"{scene}: {miss}\n" for miss in cell.misses)
        bench.listener.close()
    return 0


if __name__ == "__main__":
    sys.exit(main())
