"""Written text as it is said: units, dates, patterns, tags and signs in words; makes no sound."""

from __future__ import annotations

import re
from collections.abc import Callable, Iterator, Mapping
from functools import cache
from pathlib import Path
from typing import Any

from assistant.channels.voice.figures import read_figures
from dialogue.yaml_files import read_yaml

FILE = Path(__file__).parent / "speech.yaml"
SENTENCE_END = re.compile(r"(?<=[.!?])\s+(?=[A-Z0-9\"'])|\n+")
NUMBER = re.compile(r"(?<![\d.,])(\d{2})(?![\d]|[.,]\d)")
ORDINAL = re.compile(r"\b(\d{1,2})(?:st|nd|rd|th)\b")
YEAR = re.compile(r"\b20\d\d\b")
FIGURE = re.compile(r"(\d+)(?:\.(\d+))?")
WORD = re.compile(r"[a-z]+(?:'[a-z]+)*")
FIRST_CENTURY = 100
TWENTY = 20


@cache
def _table() -> Mapping[str, Any]:
    table: Mapping[str, Any] = read_yaml(FILE)
    return table


@cache
def _rows() -> tuple[tuple[re.Pattern[str], str | Callable[[re.Match[str]], str]], ...]:
    made = []
    for row in _table()["replace"]:
        says: str | Callable[[re.Match[str]], str] = row["says"]
        if isinstance(says, str) and says.startswith("{"):
            says = MAKERS[says.strip("{}")]
        made.append((re.compile(row["find"]), says))
    return tuple(made)


def speakable(text: str, *, reading_back: bool = False) -> str:
    """Return a text as it is said; where something is read back, easily misheard numbers get their digits too."""
    for pattern, says in _rows():
        text = pattern.sub(says, text)
    if reading_back:
        text = NUMBER.sub(_with_digits, text)
    # A leading dash is an option to some speakers, and of a lone mark nothing can be said.
    text = text.strip().lstrip("-").strip()
    return text if re.search(r"\w", text) else ""


def split_sentences(text: str) -> tuple[str, ...]:
    """Return the sentences of a text, so that the first can be heard while the rest is made."""
    return tuple(piece.strip() for piece in SENTENCE_END.split(text) if re.search(r"\w", piece))


def say_numbers(text: str) -> str:
    """Return a text with its figures in words, and of everything else only the words, in small letters."""
    text = ORDINAL.sub(lambda match: _ordinal(int(match[1])), text)
    text = YEAR.sub(lambda match: say_year(int(match[0])), text)
    text = FIGURE.sub(lambda match: f" {_number(match[1], match[2])} ", text)
    return " ".join(WORD.findall(text.lower()))


def _number(whole: str, decimals: str | None) -> str:
    """Return a number in words: "forty nine point five", "five hundred and sixty"."""
    table = _table()
    hundreds, rest = divmod(int(whole), 100)
    if hundreds >= len(table["units"]):
        said = " ".join(_one_by_one(whole))
    else:
        said = f"{table['units'][hundreds]} {table['hundred']}" if hundreds else ""
        said += f" {_small(rest)}" if rest or not hundreds else ""
    return f"{said} {table['point']} {' '.join(_one_by_one(decimals))}" if decimals else said


def say_digits(text: str) -> str:
    """Return letters and digits one by one."""
    return " ".join(_one_by_one(text))


def _one_by_one(text: str) -> Iterator[str]:
    units = _table()["units"]
    for sign in text:
        if sign.isdigit():
            yield units[int(sign)]
        elif sign.isalpha():
            yield sign.upper()


def _with_digits(match: re.Match[str]) -> str:
    """Return "15, one five" for the numbers that sound like another one."""
    if int(match[1]) not in read_figures().speaking.confusable:
        return match[0]
    units, oh = _table()["units"], _table()["oh"]
    digits = " ".join(oh if sign == "0" else units[int(sign)] for sign in match[1])
    return f"{match[1]}, {digits},"


def _small(number: int) -> str:
    """Return a number below a hundred in words."""
    table = _table()
    if number < TWENTY:
        return str(table["units"][number])
    tens, unit = divmod(number, 10)
    return f"{table['tens'][tens]} {table['units'][unit]}" if unit else str(table["tens"][tens])


def say_year(year: int) -> str:
    """Return a year as it is said: "twenty twenty six", "two thousand nine", "nineteen ninety eight"."""
    table = _table()
    century, rest = divmod(year, FIRST_CENTURY)
    if year // 1000 == 2 and rest < 10 and century == TWENTY:  # noqa: PLR2004 - the years 2000 to 2009
        return f"{table['thousand']} {_small(rest)}" if rest else str(table["thousand"])
    if rest == 0:
        return f"{_small(century)} {table['hundred']}"
    return f"{_small(century)} {table['oh'] + ' ' if rest < 10 else ''}{_small(rest)}"  # noqa: PLR2004 - one digit


def _ordinal(day: int) -> str:
    ordinals = _table()["ordinals"]
    return str(ordinals[day - 1]) if 1 <= day <= len(ordinals) else str(day)


def _date(match: re.Match[str]) -> str:
    year, month, day = (int(part) for part in match.groups())
    months = _table()["months"]
    if not 1 <= month <= len(months):
        return match[0]
    return f"{months[month - 1]} {_ordinal(day)}, {say_year(year)}"


MAKERS: Mapping[str, Callable[[re.Match[str]], str]] = {
    "date": _date,
    "day_month_year": lambda match: f"{match[2]} {_ordinal(int(match[1]))}, {say_year(int(match[3]))}",
    "day_month": lambda match: f"{match[2]} {_ordinal(int(match[1]))}",
    "month_year": lambda match: f"{match[1]} {say_year(int(match[2]))}",
    "tag": lambda match: f"{match[1]} {say_digits(match[2])}",
    "phone": lambda match: say_digits(match[1]),
    "letters": lambda match: say_digits(match[1]),
}
