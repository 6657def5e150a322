"""The shop's own products as people name them: found in a line, read as their material, tied to what was read."""

from __future__ import annotations

import re
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from rapidfuzz import process
from rapidfuzz.distance import OSA

from dialogue.messages import Evidence, Understanding
from dialogue.options import WORDS

SIDES = ("mains", "crosses")
MATERIALS = frozenset(f"{side}_material" for side in SIDES)
SAID: Mapping[str, str] = WORDS["material_said"]
"""How a material is said in the place of a product's name."""
SAME = "same_as_mains"
WISH = "wish"
CHOICE = "product_choice"
"""What waits for somebody to say which of several products was meant."""
TOKEN = re.compile(r"[^\W_]+")
STOP = re.compile(r"[,;:!?]")
ONE_SLIP, TWO_SLIPS = 6, 11
"""From so many letters on a name is known with one letter wrong, or with two."""
SHORTEST_BEGINNING = 4
"""A shorter first word does not stand for the whole name."""


@dataclass(frozen=True, kw_only=True)
class Product:
    """A string the shop sells."""

    name: str
    material: str
    gauge: str | None = None
    """In millimetres."""

    def to_json(self) -> dict[str, Any]:
        """Return the product in the form a slot holds."""
        return {"name": self.name, "material": self.material, "gauge": self.gauge}


@dataclass(frozen=True)
class Mention:
    """Words that name a product, or could name several."""

    span: tuple[int, int]
    among: tuple[Product, ...]

    @property
    def material(self) -> str:
        """Return the material of the product, or of the first that may be meant."""
        return self.among[0].material


def find_mentions(text: str, products: Sequence[Product], unread: Sequence[str] = ()) -> tuple[Mention, ...]:
    """Return where a text names products, in reading order.

    A name may have a letter wrong; its first word alone names it where nothing else was read in that word.

    Args:
        text: the words of the turn.
        products: what the shop sells.
        unread: the pieces of the text that nothing was read in.
    """
    if not products:
        return ()
    by_key: dict[str, list[Product]] = {}
    for product in products:
        by_key.setdefault(_key(product.name), []).append(product)
    tokens = [(match[0].casefold(), match.start(), match.end()) for match in TOKEN.finditer(text)]
    longest = max(len(TOKEN.findall(product.name)) for product in products) + 1
    found: list[tuple[tuple[int, int], Mention]] = []
    for first, last in _windows(text, tokens, longest):
        said = "".join(word for word, _, _ in tokens[first:last])
        slips, keys = _nearest(said, list(by_key))
        if keys:
            among = tuple(product for key in keys for product in by_key[key])
            found.append(((slips, -len(said)), Mention((tokens[first][1], tokens[last - 1][2]), among)))
    whole = _apart(mention for _, mention in sorted(found, key=lambda each: each[0]))
    begun = (mention for mention in _beginnings(tokens, products, unread))
    return tuple(sorted(_apart([*whole, *begun]), key=lambda mention: mention.span))


def in_materials(text: str, mentions: Sequence[Mention]) -> tuple[str, tuple[tuple[str, int, Mention], ...]]:
    """Return the text with each product said as its material, and which time that material is said then."""
    pieces: list[str] = []
    at = 0
    placed: list[tuple[str, int, Mention]] = []
    for mention in mentions:
        said = SAID[mention.material]
        pieces.append(text[at : mention.span[0]])
        placed.append((said, "".join(pieces).casefold().count(said), mention))
        pieces.append(said)
        at = mention.span[1]
    return "".join([*pieces, text[at:]]), tuple(placed)


def with_products(heard: Understanding, text: str, placed: Sequence[tuple[str, int, Mention]]) -> Understanding:
    """Return the meaning of a text whose products were said as materials, with the products in it.

    A material that was read where several products may be meant is left out: which one is asked first.
    """
    plain = heard.text.casefold()
    evidence: list[Evidence] = []
    unclear: list[Evidence] = []
    slots = dict(heard.slots)
    for piece in heard.evidence:
        if piece.slot == WISH:
            # What goes on record in somebody's words stays in those words.
            slots[WISH] = text
            evidence.append(replace(piece, value=text, words=text))
            continue
        mention = _mention_of(piece, plain, placed)
        if mention is None:
            evidence.append(piece)
        elif len(mention.among) == 1:
            words = text[slice(*mention.span)]
            evidence.append(replace(piece, words=words, product=mention.among[0].to_json()))
        else:
            slots.pop(piece.slot, None)
            unclear.append(piece)
            among = [product.to_json() for product in mention.among]
    if unclear:
        waiting = {"slots": [piece.slot for piece in unclear], "among": among}
        slots[CHOICE] = waiting
        evidence.append(Evidence(CHOICE, waiting, unclear[0].span, unclear[0].words, "products.several", 1.0))
    said = "inform" if heard.intent == "out_of_scope" else heard.intent
    return replace(heard, intent=said, slots=slots, evidence=tuple(evidence))


def on_sides(products: Mapping[str, Any], kept: Sequence[tuple[str, Any, Any]]) -> dict[str, Any]:
    """Return the product of each side after some materials were kept.

    Args:
        products: the products so far, by side.
        kept: the slot of each material with its value and the product it was said as, or None.
    """
    found = dict(products)
    for slot, value, product in sorted(kept, key=lambda each: -SIDES.index(each[0].removesuffix("_material"))):
        side = slot.removesuffix("_material")
        found[side] = None if value == SAME else product
        if value == SAME:
            mains = [said for name, _, said in kept if name == "mains_material"]
            found[side] = mains[0] if mains else products.get("mains")
    return {side: product for side, product in found.items() if product}


def _key(name: str) -> str:
    return "".join(TOKEN.findall(name.casefold()))


def _windows(text: str, tokens: Sequence[tuple[str, int, int]], longest: int) -> Iterator[tuple[int, int]]:
    """Yield the runs of words in which a name may stand: none goes over a stop."""
    for first in range(len(tokens)):
        for last in range(first + 1, min(first + longest, len(tokens)) + 1):
            if STOP.search(text[tokens[first][1] : tokens[last - 1][2]]):
                break
            yield first, last


def _nearest(said: str, keys: Sequence[str]) -> tuple[int, list[str]]:
    """Return by how many letters the nearest names differ from what was said, and those names."""
    allowed = 2 if len(said) >= TWO_SLIPS else 1 if len(said) >= ONE_SLIP else 0
    found: Any = process.extract(said, keys, scorer=OSA.distance, score_cutoff=allowed, limit=None)
    # A figure in a name is no letter: 17 and 18 are two products.
    near = [(key, slips) for key, slips, _ in found if re.findall(r"\d+", key) == re.findall(r"\d+", said)]
    least = min((slips for _, slips in near), default=0)
    return least, [key for key, slips in near if slips == least]


def _beginnings(
    tokens: Sequence[tuple[str, int, int]], products: Sequence[Product], unread: Sequence[str]
) -> Iterator[Mention]:
    words = {word.casefold() for piece in unread for word in TOKEN.findall(piece)}
    firsts = {(TOKEN.findall(product.name.casefold()) or [""])[0] for product in products}
    for word, start, end in tokens:
        if word in words and len(word) >= SHORTEST_BEGINNING:
            _, near = _nearest(word, sorted(firsts))
            among = [product for product in products if set(TOKEN.findall(product.name.casefold())[:1]) & set(near)]
            if among:
                yield Mention((start, end), tuple(among))


def _apart(mentions: Iterator[Mention] | Sequence[Mention]) -> list[Mention]:
    """Return the mentions that share no word with one before them."""
    taken: list[Mention] = []
    for mention in mentions:
        if all(mention.span[1] <= other.span[0] or mention.span[0] >= other.span[1] for other in taken):
            taken.append(mention)
    return taken


def _mention_of(piece: Evidence, plain: str, placed: Sequence[tuple[str, int, Mention]]) -> Mention | None:
    """Return the product in whose place a material was read."""
    if piece.slot not in MATERIALS or piece.value == SAME:
        return None
    for said, times, mention in placed:
        starts = [match.start() for match in re.finditer(re.escape(said), plain)]
        if times < len(starts) and piece.span[0] < starts[times] + len(said) and starts[times] < piece.span[1]:
            return mention
    return None
