"""Names, phone numbers and choices of customers in a line; knows no customer on record but those it is given."""

from __future__ import annotations

import re
from collections.abc import Sequence
from collections.abc import Set as AbstractSet
from pathlib import Path
from typing import Any

from rapidfuzz import fuzz, process

from dialogue.understanding.convert import convert
from dialogue.understanding.cuebook import CUE_FOLDER, Hit, read_cues
from dialogue.understanding.cues import Scan, make
from dialogue.understanding.found import Found, overlaps
from dialogue.understanding.lines import Line

SHORTEST_PHONE = 5
PHONE_UNASKED = 7
SOUNDS_LIKE = 80
NAME_RULE = "customer.name"


class CustomerWords:
    """The customer file's own settings."""

    def __init__(self, common: AbstractSet[str], folder: Path = CUE_FOLDER) -> None:
        table = read_cues("customer.yaml", folder)
        self.digits: dict[str, str] = table["digits"]
        self.repeats: dict[str, int] = table["repeats"]
        self.phone_marks = frozenset(table["phone_marks"])
        self.longest_name = int(table["longest_name"])
        between = rf"(?:[^\W_]+ ){{0,{int(table['between_name_and_owned'])}}}"
        name = rf"[^\W\d_][\w-]*(?: [^\W\d_][\w-]*){{0,{self.longest_name - 1}}}"
        self.owned = re.compile(rf"\b({name})['\u2019]s? {between}(?:{'|'.join(table['owned'])})\b", re.IGNORECASE)
        self.common = common
        """Words of the cue files: no names, unless written with a capital."""
        lists = read_cues("words.yaml", folder)["lists"]
        self.people = frozenset(str(word) for word in lists["person"])
        """Words for people whose names are not said."""

    def may_name(self, word: str, *, first: bool) -> bool:
        """Tell whether a word may be part of a name: with a capital nearly any, but as the first word of a line."""
        plain = word.casefold()
        if plain in self.people:
            return False
        return plain not in self.common or (word[0].isupper() and not first)


def read_phone(scan: Scan, words: CustomerWords) -> list[Found]:
    """Return the phone number of a line: digits said in a row."""
    runs: list[tuple[str, int, int]] = []
    digits, start, end, times = "", 0, 0, 1
    for token, at in zip((*scan.line.tokens, None), (*scan.line.starts, 0), strict=True):
        word = token.word if token else ""
        figure = words.digits.get(word, word.replace(".", "") if re.fullmatch(r"[\d.]*\d", word) else "")
        if word.startswith("-") and word[1:].isdigit():
            figure = word[1:]
        if figure:
            start = at if not digits else start
            digits += figure * times
            end, times = at + len(word) + 1, 1
        elif word in words.repeats:
            times = words.repeats[word]
        elif digits and word not in words.phone_marks:
            runs.append((digits, start, end))
            digits, times = "", 1
        elif not token and digits:
            runs.append((digits, start, end))
    if digits:
        runs.append((digits, start, end))
    needed = SHORTEST_PHONE if scan.asked == "customer_phone" else PHONE_UNASKED
    return [
        Found("customer_phone", run, (first, last), "customer.phone", 0.93, "always")
        for run, first, last in runs
        if len(run) >= needed
    ][:1]


def read_choice(scan: Scan) -> list[Found]:
    """Return which of several customers is meant: a number from the top, or the words themselves."""
    hits = scan.role("customer", "choice")
    if hits:
        return [make("customer_choice", convert(hits[0]), hits[0])]
    return []


def read_name(scan: Scan, known: Sequence[str], words: CustomerWords) -> list[Found]:
    """Return the name of a customer, as it was asked for or as it is introduced."""
    asked = scan.asked == "customer_name"
    for hit in sorted(scan.role("customer", "name", "name_for"), key=lambda hit: -hit.span[1]):
        found = _name_after(scan, hit, words)
        if found:
            return [_known(found, known)]
    if found := _name_before(scan, words) or _owner_named(scan, words):
        return [_known(found, known)]
    if asked:
        whole = _name_from(scan, scan.line.tokens_of((min(scan.line.core), max(scan.line.core)))[0], words)
        if whole:
            return [_known(whole, known)]
    return []


def _name_after(scan: Scan, hit: Hit, words: CustomerWords) -> Found | None:
    first = scan.line.tokens_of((hit.span[1], hit.span[1] + 1))[0]
    if hit.span[1] >= len(scan.line.text):
        return None
    return _name_from(scan, first, words)


def _name_from(scan: Scan, first: int, words: CustomerWords) -> Found | None:
    line = scan.line
    ends = {
        line.tokens_of(hit.span)[0] for hit in scan.hits.get("customer", ()) if hit.row.role in {"name_end", "not_name"}
    }
    last = first
    while last < len(line.tokens) and last - first < words.longest_name and last not in ends:
        if not re.fullmatch(r"[^\W\d_]+", line.tokens[last].word) or (last > first and _ends_name(scan, first, last)):
            break
        last += 1
    if last == first or line.tokens[first].word in line.fillers:
        return None
    span = (line.starts[first], line.starts[last - 1] + len(line.tokens[last - 1].word) + 1)
    if any(overlaps(span, hit.span) for hit in scan.hits.get("act", ()) if hit.row.alone):
        return None
    said = line.said(span)
    if scan.asked != "customer_name" and said == said.lower() and any(word in words.common for word in said.split()):
        return None
    return _named(said, span)


def _name_before(scan: Scan, words: CustomerWords) -> Found | None:
    """Return the name before what its bearer does: "Maya Okoro drops off her racquet"."""
    line = scan.line
    for hit in scan.role("customer", "name_before"):
        last = line.tokens_of(hit.span)[0]
        first = last
        while first > 0 and last - first < words.longest_name and line.tokens[first - 1].word.isalpha():
            first -= 1
        while first < last and not _may_be_name(line, first, words):
            first += 1
        if first == last or not all(_may_be_name(line, at, words) for at in range(first, last)):
            continue
        span = (line.starts[first], line.starts[last])
        return _named(line.said(span), span)
    return None


def _may_be_name(line: Line, at: int, words: CustomerWords) -> bool:
    """Tell whether a word may be part of a name: not a word of the trade, nor one that may begin any sentence."""
    token = line.tokens[at]
    # As it was said: a name may be one slip away from a word of the trade.
    return words.may_name(line.source[token.start : token.end], first=at == 0) and token.word not in line.fillers


def _owner_named(scan: Scan, words: CustomerWords) -> Found | None:
    """Return the name of whom something belongs to: "Maya's second racquet"."""
    line = scan.line
    for match in words.owned.finditer(line.source):
        said: list[str] = []
        for word in reversed(match[1].split()):
            if not words.may_name(word, first=not line.source[: match.start(1)].strip() and len(match[1].split()) == 1):
                break
            if said and word[0].islower() and said[0][0].isupper():
                break
            said.insert(0, word)
        if not said:
            continue
        end = match.start(1) + len(match[1])
        start = match.start(1) + len(match[1]) - len(" ".join(said))
        held = [at for at, token in enumerate(line.tokens) if start <= token.start < end]
        if held:
            span = (line.starts[held[0]], line.starts[held[-1]] + len(line.tokens[held[-1]].word) + 1)
            return _named(" ".join(said), span)
    return None


def _named(said: str, span: tuple[int, int]) -> Found:
    said = re.sub(r"['\u2019]s$", "", said)
    name = said.title() if said == said.lower() else said
    return Found("customer_name", name, span, NAME_RULE, 0.9, "always")


def _ends_name(scan: Scan, first: int, at: int) -> bool:
    """Tell whether a word goes on with no name: a filler, or small where the name began with a capital."""
    begins, goes_on = (scan.line.source[scan.line.tokens[place].start] for place in (first, at))
    return scan.line.tokens[at].word in scan.line.fillers or (begins.isupper() and goes_on.islower())


def _known(found: Found, known: Sequence[str]) -> Found:
    """Return the customer on record that sounds like the name said, to be read back, or the name itself."""
    best: Any = process.extractOne(found.value, known, scorer=fuzz.WRatio, score_cutoff=SOUNDS_LIKE) if known else None
    if best is None or best[0].lower() == found.value.lower():
        return found
    return Found(found.slot, best[0], found.span, found.rule, 0.8, "sound_alike")
