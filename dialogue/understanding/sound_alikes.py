"""Materials that only sound like what was heard; a guess that must be asked back, never a value by itself."""

from __future__ import annotations

from pathlib import Path

from rapidfuzz import fuzz

from dialogue.understanding.cuebook import CUE_FOLDER, read_cues
from dialogue.understanding.cues import Scan
from dialogue.understanding.found import Found

GUESS = 0.6
LONGEST = 4
SOUND_ALIKE = "sound_alike"


class SoundAlikes:
    """The names of the sound-alike file, as they sound."""

    def __init__(self, folder: Path = CUE_FOLDER) -> None:
        table = read_cues("sound_alikes.yaml", folder)
        self._sounds = [(str(written), str(sound)) for written, sound in table["sounds"].items()]
        self._alike = float(table["alike"])
        self._names = [
            (material, name, self._sound(name)) for material, names in table["names"].items() for name in names
        ]

    def read(self, scan: Scan) -> list[Found]:
        """Return the material that an answer about the strings sounds like, if one comes close."""
        if scan.asked not in {"mains_material", "crosses_material"} or scan.hits.get("act"):
            return []
        if scan.role("material", "value"):
            return []  # a material was said, and was taken back or left open on purpose
        tokens = [at for at, token in enumerate(scan.line.tokens) if token.word.isalpha()]
        if not tokens or len(tokens) > 2 * LONGEST:
            return []
        best = (0.0, "", (0, 0))
        for first in range(len(tokens)):
            for last in range(first + 1, min(len(tokens), first + LONGEST) + 1):
                words = [scan.line.tokens[at].word for at in tokens[first:last]]
                heard = self._sound("".join(words))
                start = scan.line.starts[tokens[first]]
                end = scan.line.starts[tokens[last - 1]] + len(words[-1]) + 1
                for material, _, sound in self._names:
                    likeness = fuzz.ratio(heard, sound)
                    if likeness > best[0]:
                        best = (likeness, material, (start, end))
        if best[0] < self._alike:
            return []
        return [Found(scan.asked, best[1], best[2], "material.sound_alike", GUESS, SOUND_ALIKE)]

    def _sound(self, words: str) -> str:
        """Return roughly how words sound: letters that sound alike made the same, doubled ones single."""
        sound = words.replace(" ", "")
        for written, said in self._sounds:
            sound = sound.replace(written, said)
        return "".join(letter for at, letter in enumerate(sound) if at == 0 or sound[at - 1] != letter)
