"""The wake phrase: listens for a few set words and nothing else; off unless asked for, for noise makes it miss some."""

from __future__ import annotations

import tempfile

from assistant.channels.voice.ears import Pronunciations

THRESHOLD = 1e-18
"""How sure it must be; the smaller, the more it hears what was not said."""


class WakeEar:
    """Waits for one phrase in a stream of sound."""

    def __init__(self, words: Pronunciations, phrase: str) -> None:
        from pocketsphinx import Config, Decoder

        self.phrase = " ".join(phrase.lower().split())
        with tempfile.NamedTemporaryFile("w", suffix=".dict", encoding="utf8") as file:
            file.write(words.dictionary(self.phrase.split()))
            file.flush()
            model = str(words.folder / "en-us")
            self._decoder = Decoder(
                Config(hmm=model, dict=file.name, keyphrase=self.phrase, kws_threshold=THRESHOLD, loglevel="FATAL")
            )
        self._decoder.start_utt()

    def feed(self, chunk: bytes) -> bool:
        """Take the next 32 ms and tell whether the phrase was just said."""
        self._decoder.process_raw(chunk, no_search=False, full_utt=False)
        if self._decoder.hyp() is None:
            return False
        self._decoder.end_utt()
        self._decoder.start_utt()
        return True
