"""How a name, a phone number and a tag are found again the way people say them; knows no table."""

from __future__ import annotations

import re
import secrets
import unicodedata
from functools import lru_cache

from jellyfish import metaphone
from rapidfuzz import fuzz

TAG_LETTERS = "234678HKLMRWXY"
"""Letters and digits that are mistaken for one another neither by eye nor, as far as English allows, by ear."""
TAG_LENGTH = 6
SOUND_SHARE = 0.5
"""How much of what spelling keeps apart one sound makes good."""
APOSTROPHES = "'`\N{RIGHT SINGLE QUOTATION MARK}"
TAIL_LENGTH = 10


def fold(name: str) -> str:
    """Return the name in lower case, without accents and punctuation, its words one space apart."""
    plain = name
    for _ in range(2):  # a letter taken apart may turn out to be a capital one
        plain = unicodedata.normalize("NFKD", plain).casefold()
    kept = "".join(letter for letter in plain if not unicodedata.combining(letter) and letter not in APOSTROPHES)
    return " ".join(re.findall(r"\w+", kept))[:200]


@lru_cache(maxsize=4096)
def sound(word: str) -> str:
    """Return how a folded word sounds in English; a word outside the Latin alphabet stands for itself."""
    return metaphone(word).replace(" ", "") or word


def keys(name: str) -> set[str]:
    """Return the keys under which a name is looked up.

    By word: its sound, its beginning, its end, and both ends together; a word with one wrong letter, wherever
    that is, keeps at least one of them.
    """
    found: set[str] = set()
    for word in fold(name).split():
        found |= {
            f"~{sound(word)}"[:40],
            f"{word[:3]}-",
            f"-{word[-3:]}",
            f"{word[:2]}-{word[-1:]}",
            f"{word[:1]}-{word[-2:]}",
        }
    return found


def likeness(asked: str, name: str) -> float:
    """Return how well a name answers what was asked, both folded, 0 to 100.

    It is the mean over the asked words of their best match.

    A word that only sounds alike counts nearly as one spelt alike, and each word of the name that was not
    asked for costs a little, so that the plain name comes before the longer one.
    """
    asked_words, name_words = asked.split(), name.split()
    if not asked_words or not name_words:
        return 0.0
    total, left = 0.0, list(name_words)
    for word in asked_words:
        scored = [(_word_likeness(word, other), -at, other) for at, other in enumerate(left or name_words)]
        best, _, other = max(scored)
        total += best
        if other in left:
            left.remove(other)
    return max(0.0, total / len(asked_words) - 2.0 * len(left))


def _word_likeness(asked: str, word: str) -> float:
    alike = fuzz.ratio(asked, word)
    if asked != word and sound(asked) == sound(word):
        return alike + (100.0 - alike) * SOUND_SHARE
    return alike


def phone_tail(phone: str | None) -> str | None:
    """Return the last ten digits of a phone number, last digit first, or None where it has none.

    Turned round, a tail of any length is the beginning of the column, which an index finds.
    """
    digits = "".join(str(unicodedata.decimal(letter)) for letter in phone or "" if letter.isdecimal())
    return digits[::-1][:TAIL_LENGTH] or None


def make_tag() -> str:
    """Return a random tag: one of over seven million, none easily misread."""
    return "".join(secrets.choice(TAG_LETTERS) for _ in range(TAG_LENGTH))


def read_tag(said: str) -> str:
    """Return a tag as it is stored, however it was typed: case, spaces and hyphens do not count."""
    return re.sub(r"[\W_]", "", said).upper()
