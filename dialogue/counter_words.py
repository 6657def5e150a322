"""What is said at the counter of a racquet and its owner, beside the facts: which one, its frame, an address."""

from __future__ import annotations

import re
from collections.abc import Iterator, Sequence

from dialogue.messages import Evidence
from dialogue.options import WORDS, answer_to, plain
from dialogue.racquets import LABELS

NOUNS = "|".join(WORDS["nouns"])
NAMED = re.compile(rf"\b((?:[a-z]+ ){{1,3}})({NOUNS})\b")
ANOTHER = re.compile(rf"\b(?:{'|'.join(WORDS['another'])})\b")
EMAIL = re.compile(r"[^\s@,;<>\"]+@[^\s@,;<>\"]+\.[a-z]{2,}", re.IGNORECASE)
SEEN_BY = re.compile(rf"\b(?:{'|'.join(WORDS['seen_by'])}) ([^\W\d_][\w-]*(?: [^\W\d_][\w-]*){{0,3}})", re.IGNORECASE)
SEEN_FIRST = re.compile(
    rf"([^\W\d_][\w-]*(?: [^\W\d_][\w-]*){{0,3}}) (?:{'|'.join(WORDS['has_seen'])})\b", re.IGNORECASE
)
PROMISING = frozenset(WORDS["promising"])
OTHER_DAYS = frozenset(WORDS["other_days"])
DAYS = frozenset(WORDS["days"])
CLAUSE = re.compile(r"[,;!?]|\.(?!\d)|\band\b")
FEW_WORDS = 3
DECLINES = "declines"
"""Questions that need not be asked any more, for there is nothing to be had."""
FORGETS = "forgets"
NEW = "new"
"""The name of a racquet that is only said not to be one of those on record."""
BARE_TENSION = re.compile(rf"(?:.*\b(?:{'|'.join(WORDS['strings_before'])}) )?(?:at )?([3-7]\d(?:\.\d)?)")
BENCH_DONE = frozenset(map(plain, WORDS["bench_done"]))
BENCH_NEXT = frozenset(map(plain, WORDS["bench_next"]))
FRAME_CLAUSES = frozenset(map(plain, WORDS["frame_clause"]))


def racquet_named(text: str) -> Evidence | None:
    """Return which racquet is spoken of: the words that tell it apart, such as "red frame"."""
    said = plain(text)
    for match in NAMED.finditer(said):
        words = [word for word in match[1].split() if word in LABELS["racquet_words"]]
        if words and match[1].split()[-1] == words[-1]:
            label = " ".join([*words, match[2]])
            return _piece("racquet_name", NEW if words == [NEW] else label, label)
    another = ANOTHER.search(said)
    return _piece("racquet_name", NEW, another[0]) if another else None


def frame_seen(text: str) -> Evidence | None:
    """Return what was said of a frame in so many words, without being asked."""
    found = answer_to("frame_said", text)
    if found is None:
        clause = next((part for part in CLAUSE.split(text) if plain(part) in FRAME_CLAUSES), None)
        found = ("sound", clause.strip()) if clause else None
    return _piece("frame_check", *found) if found else None


def asks_who_is_next(text: str) -> bool:
    """Tell whether somebody at the bench asks for the next racquet."""
    return plain(text) in BENCH_NEXT


def wants_strings(text: str) -> bool:
    """Tell whether somebody is said to want something."""
    return any(f" {words} " in f" {plain(text)} " for words in WORDS["wanting"])


def is_done(text: str) -> bool:
    """Tell whether no more is said than that something is done."""
    return plain(text) in BENCH_DONE


def tension_said(text: str) -> str | None:
    """Return a bare figure that stands where a tension is said: between two stops, or right behind the strings."""
    for clause in CLAUSE.split(text):
        found = BARE_TENSION.fullmatch(clause.strip().casefold())
        if found:
            return found[1]
    return None


def declines_said(text: str) -> Evidence | None:
    """Return the questions that were answered before they are asked: there is nothing to be had."""
    said = f" {plain(text)} "
    slots = [slot for slot, ways in WORDS["declines"].items() if any(f" {plain(words)} " in said for words in ways)]
    return Evidence(DECLINES, slots, (0, 0), text, "counter.declines", 1.0) if slots else None


def to_forget(text: str) -> Evidence | None:
    """Return which of phone number and e-mail address somebody wants off a card."""
    said = f" {plain(text)} "
    named = [part for part, ways in WORDS[FORGETS].items() if any(f" {words} " in said for words in ways)]
    return Evidence(FORGETS, named, (0, 0), text, "counter.forgets", 1.0) if named else None


def looked_at_by(text: str) -> Evidence | None:
    """Return the qualified stringer who looked at a crack."""
    match = SEEN_BY.search(text) or SEEN_FIRST.search(text)
    return _piece("seen_by", match[1], match[0]) if match else None


def address_said(text: str) -> Evidence | None:
    """Return an e-mail address."""
    match = EMAIL.search(text)
    return _piece("customer_email", match[0].rstrip("."), match[0]) if match else None


def group_said(text: str, groups: Sequence[str], *, asked: bool) -> Evidence | None:
    """Return the group of players that is named, by one of the shop's own words for groups.

    Args:
        text: the words of the turn.
        groups: the shop's words.
        asked: whether it was asked for, so that the word alone is enough.
    """
    words, said = plain(text), WORDS["group_said"]
    before, articles, behind, denied = (
        "|".join(map(plain, said[key])) for key in ("before", "articles", "behind", "not")
    )
    for group in groups:
        word = plain(group)
        named = rf"\b{word}(?:s|es)?\b"
        told = rf"(?:\b(?:{before}) (?:(?:{articles}) )?{named}|{named} (?:{behind})\b)"
        match = re.search(named if asked else told, words)
        if match and not re.search(rf"\b(?:{denied}) (?:(?:{articles}|in|on|{before}) )*{word}", words):
            return _piece("group", group, match[0])
    return None


def no_group(text: str) -> bool:
    """Tell whether the answer to a question for a group is that none fits."""
    return plain(text) in set(map(plain, WORDS["group_said"]["none"]))


def days_promised(text: str) -> Iterator[str]:
    """Yield the parts of a text in which the day may stand by which something is wanted, the last first.

    It stands behind a word such as "by", or is named in a few words between two stops: "..., tomorrow please".
    """
    for clause in reversed(CLAUSE.split(text)):
        words = clause.split()
        if OTHER_DAYS & set(plain(clause).split()):
            continue
        behind = [place for place, word in enumerate(words) if plain(word) in PROMISING]
        if behind:
            yield " ".join(words[behind[-1] + 1 :])
        elif len(words) <= FEW_WORDS and DAYS & set(plain(clause).split()):
            yield clause


def which_of(label: str | None, names: Sequence[str], text: str = "") -> int | None:
    """Return the place of the racquet that is meant, by what it is called, else by its number; None: not told.

    Args:
        label: what it was called, such as "second racquet".
        names: what the racquets on record are called, in their order; empty where one has no name.
        text: the words of the turn, in which a racquet's own name may stand.
    """
    said = set(plain(f"{label or ''} {text}").split())
    own = [_own(name, [other for other in names if other != name]) for name in names]
    fitting = [place for place, words in enumerate(own) if words & said]
    if len(fitting) == 1:
        return fitting[0]
    for place, words in enumerate(WORDS["ordinals"][: len(names)]):
        if set(words[:1]) & set(plain(label or "").split()):
            return place
    return None


def fits_name(label: str | None, name: str) -> bool:
    """Tell whether a racquet may be the one that was called so."""
    if label is None or not name:
        return label != NEW
    return label != NEW and (bool(_own(name, ()) & set(plain(label).split())) or by_number(label))


def by_number(label: str | None) -> bool:
    """Tell whether a racquet was called the first, the second ... only, which is no name to keep."""
    return bool(set((label or "").split()) & {words[0] for words in WORDS["ordinals"]})


def _own(name: str, others: Sequence[str]) -> set[str]:
    """Return the words of a name that no other one has, without those that every racquet may be called."""
    shared = {word for other in others for word in plain(other).split()}
    return set(plain(name).split()) - shared - set(WORDS["nouns"])


def _piece(slot: str, value: str, words: str) -> Evidence:
    return Evidence(slot, value, (0, 0), words, f"counter.{slot}", 1.0)
