"""Materials and tensions shared out to mains and crosses; knows no other slot."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

from dialogue.understanding.convert import tidy
from dialogue.understanding.cuebook import CUE_FOLDER, Hit, read_cues
from dialogue.understanding.cues import Scan, make
from dialogue.understanding.found import Found, covers, longest, overlaps
from dialogue.understanding.lines import Line

MAINS, CROSSES, BOTH = "mains", "crosses", "both"
OTHER = {MAINS: CROSSES, CROSSES: MAINS}
RELATIVE = frozenset({"less", "more", "same"})
PAIRS = {"pair": None, "pair_pounds": "lb", "pair_kilos": "kg"}
UNITS = {"pounds": "lb", "kilos": "kg"}
TENSION_ASKED = frozenset({"mains_tension", "crosses_tension", "confirm"})
OTHER_UNIT = {"kg": "lb", "lb": "kg"}
GUESSED = "guessed_unit"
"""Why a tension is read back whose figure the unit that was said cannot belong to."""
ALIKE = 1.2
"""Pounds within which a tension said in both units is one tension: people round."""


@dataclass(frozen=True)
class Item:
    """A material or tension before it has a side."""

    value: Any
    span: tuple[int, int]
    hit: Hit
    readback: str | None = None


@dataclass(frozen=True)
class TensionLimits:
    """What a bare number may be as a tension."""

    lb_from: float
    lowest: float
    kg_from: float
    kg_to: float
    highest_pair: float
    largest_step: float
    """Farther below the mains no crosses are strung, in any unit."""
    lb_per_kg: float
    units: Mapping[str, str]

    @classmethod
    def read(cls, folder: Path = CUE_FOLDER) -> TensionLimits:
        """Return the limits of the tension file."""
        table = read_cues("tension.yaml", folder)
        return cls(**table["limits"], units=table["units"])

    def unit_of(self, number: float, said: str | None, *, badminton: bool) -> tuple[str, str | None]:
        """Return the unit of a bare figure: the one said in the same breath where the figure can be in it.

        Where it cannot, the unit is guessed from the figure, and the second value says why that is read back.
        """
        size = abs(number)
        guessed = "kg" if self.kg_from <= size < self.lb_from and not badminton else "lb"
        if said is None:
            return guessed, None
        low, high = (self.kg_from, self.kg_to) if said == "kg" else (self.lowest, self.highest_pair)
        return (said, None) if low <= size <= high else (OTHER_UNIT[said], GUESSED)

    def alike(self, one: Mapping[str, Any], other: Mapping[str, Any]) -> bool:
        """Tell whether two tensions are one, said in both units."""
        pounds = [float(value["value"]) * (self.lb_per_kg if value["unit"] == "kg" else 1) for value in (one, other)]
        return bool(one["unit"] != other["unit"]) and abs(pounds[0] - pounds[1]) <= ALIKE


def read_materials(scan: Scan) -> list[Found]:
    """Return the materials of mains and crosses."""
    items = [Item(hit.row.value, hit.span, hit) for hit in scan.held(longest(scan.role("material", "value")))]
    found = _share(scan, items, "material")
    if not any(one.slot == "crosses_material" for one in found):
        found += [make("crosses_material", "same_as_mains", hit) for hit in scan.role("material", "same")[:1]]
    return found


def _share(scan: Scan, items: Sequence[Item], what: str) -> list[Found]:
    sides = scan.held(longest(scan.role("side", "side")))
    found = []
    owners = dict.fromkeys(scan.owner_of(item.span) for item in items)
    for owner in owners:
        mine = [item for item in items if scan.owner_of(item.span) == owner]
        named = sides if len(owners) == 1 else [hit for hit in sides if scan.owner_of(hit.span) == owner]
        for item, side in assign(scan, mine, named, what):
            names = (MAINS, CROSSES) if side == BOTH else (side,)
            found += [make(f"{name}_{what}", item.value, item.hit, item.readback) for name in names]
    return found


def assign(scan: Scan, items: Sequence[Item], hits: Sequence[Hit], what: str) -> list[tuple[Item, str]]:
    """Return the side of each item: by the words for sides, else by what was asked, else both."""
    items = _distinct(items, hits)
    if len(items) > 1 and what == "material" and _one_or_the_other(scan, items):
        items = ()
    sides = [hit for hit in hits if hit.row.value != BOTH]
    whole = len(hits) > len(sides)
    if not items:
        return []
    if not sides:
        return _without_sides(scan, items, whole, what)
    if len(items) == len(sides):
        return list(zip(items, (str(hit.row.value) for hit in sides), strict=True))
    if len(items) == 1:
        return [(items[0], BOTH if len({hit.row.value for hit in sides}) > 1 or whole else str(sides[0].row.value))]
    if len(sides) == 1:
        side = str(sides[0].row.value)
        owner = min(items, key=lambda item: _distance(scan.line, item.span, sides[0].span))
        rest = [item for item in items if item is not owner][:1]
        return [(owner, side), *((item, OTHER[side]) for item in rest)]
    return _nearest(scan, items, sides)


def _one_or_the_other(scan: Scan, items: Sequence[Item]) -> bool:
    """Tell whether somebody leaves open which of two it is: "poly or multi in the mains"."""
    start, end = items[0].span[1], items[1].span[0]
    return any(hit.span == (start, end) for hit in scan.role("side", "either"))


def _without_sides(scan: Scan, items: Sequence[Item], whole: bool, what: str) -> list[tuple[Item, str]]:  # noqa: FBT001
    asked = {f"{MAINS}_{what}": MAINS, f"{CROSSES}_{what}": CROSSES}.get(scan.asked or "")
    if len(items) == 1:
        return [(items[0], BOTH if whole or asked is None else asked)]
    if asked == CROSSES and what == "tension":
        return [(items[-1], CROSSES)]
    if any(items[0].span[1] <= hit.span[0] < items[1].span[0] for hit in scan.role("side", "either")):
        return []
    return [(items[0], MAINS), (items[1], CROSSES)]


def _nearest(scan: Scan, items: Sequence[Item], sides: Sequence[Hit]) -> list[tuple[Item, str]]:
    pairs = sorted(
        (
            (_distance(scan.line, item.span, side.span), at, index)
            for at, item in enumerate(items)
            for index, side in enumerate(sides)
        )
    )
    used: dict[int, str] = {}
    taken: set[str] = set()
    for _, at, index in pairs:
        side = str(sides[index].row.value)
        if at not in used and side not in taken:
            used[at] = side
            taken.add(side)
    return [(items[at], side) for at, side in sorted(used.items())]


def _distance(line: Line, item: tuple[int, int], side: tuple[int, int]) -> float:
    """Return the words between an item and a side; "poly crosses" binds closer than "crosses poly"."""
    before = item[0] < side[0]
    between = line.text[min(item[1], side[1]) : max(item[0], side[0])].split()
    stops = sum(word in line.breaks for word in between)
    return len(between) + 3 * stops + (0 if before else 0.5)


def _distinct(items: Sequence[Item], sides: Sequence[Hit]) -> list[Item]:
    if len(items) <= len(sides) and len(sides) > 1:
        return list(items)
    kept: list[Item] = []
    for item in items:
        if not any(item.value == other.value for other in kept):
            kept.append(item)
    return kept


def read_tensions(scan: Scan, settled: Sequence[Hit], limits: TensionLimits, *, badminton: bool) -> list[Found]:
    """Return the tensions of mains and crosses, relative ones included."""
    hits = [hit for hit in settled if hit.row.slot == "tension"]
    relative = [hit for hit in hits if hit.row.reads in RELATIVE and _means_crosses(scan, hit, hits)]
    plain = [hit for hit in hits if hit.row.reads not in RELATIVE]
    context = Context(limits, _unit_said(scan, plain, limits), badminton)
    found: list[Found] = []
    items: list[Item] = []
    for hit in plain:
        if hit.row.reads in PAIRS:
            found += _pair(scan, hit, context)
        elif (item := _item(scan, hit, context)) is not None:
            items.append(item)
    if not found:
        found += _share(_without(scan, relative), _said_once(items, limits), "tension")
    found = [_below_mains(one, found, context) for one in found]
    for hit in relative[:1]:
        found = [one for one in found if one.slot != "crosses_tension"]
        found.append(make("crosses_tension", _relative(hit, limits, context.unit), hit))
    return found


def _unit_said(scan: Scan, plain: Sequence[Hit], limits: TensionLimits) -> str | None:
    """Return the one unit of a line, beside a figure or by itself ("27 and 26, both in pounds")."""
    beside = {UNITS[hit.row.reads] for hit in plain if hit.row.reads in UNITS}
    if beside:
        return beside.pop() if len(beside) == 1 else None
    units = set()
    for token, start in zip(scan.line.tokens, scan.line.starts, strict=True):
        span = (start, start + len(token.word) + 1)
        if token.word in limits.units and not scan.blocked("tension", span) and not scan.is_negated(span):
            units.add(limits.units[token.word])
    return units.pop() if len(units) == 1 else None


def _said_once(items: Sequence[Item], limits: TensionLimits) -> list[Item]:
    """Return the items without those that say one before them once more in the other unit: "55 pounds, so 25 kilos"."""
    kept: list[Item] = []
    for item in items:
        if not any(limits.alike(other.value, item.value) for other in kept):
            kept.append(item)
    return kept


def _below_mains(one: Found, found: Sequence[Found], context: Context) -> Found:
    """Return "crosses minus 2" as two less than the mains; any other tension below zero stays, to be refused."""
    number = one.value["value"]
    both = any(other.slot == "mains_tension" and other.span == one.span and other.value == one.value for other in found)
    if one.slot != "crosses_tension" or both or not -context.limits.largest_step <= number < 0:
        return one
    mains = next((other.value["unit"] for other in found if other.slot == "mains_tension"), None)
    value = {"value": number, "unit": context.unit or mains or "lb", "relative_to": MAINS}
    return replace(one, value=value, readback=None)


def _without(scan: Scan, relative: Sequence[Hit]) -> Scan:
    """Return the cues without the words for sides that stand inside a relative tension."""
    if not relative:
        return scan
    sides = [hit for hit in scan.hits.get("side", ()) if not any(overlaps(hit.span, one.span) for one in relative)]
    if not any(hit.row.value == MAINS for hit in sides) and scan.asked != "mains_tension":
        return Scan(scan.line, "mains_tension", {**scan.hits, "side": sides})
    return Scan(scan.line, scan.asked, {**scan.hits, "side": sides})


def _means_crosses(scan: Scan, hit: Hit, hits: Sequence[Hit]) -> bool:
    if scan.asked in TENSION_ASKED:
        return True
    named = any(
        covers(hit.span, side.span) or abs(side.span[0] - hit.span[1]) <= 1 or abs(side.span[1] - hit.span[0]) <= 1
        for side in scan.hits.get("side", ())
    )
    return named and (
        len(hits) > 1
        or "tension" in scan.line.words
        or any(side.row.value == CROSSES for side in scan.hits.get("side", ()))
    )


def _relative(hit: Hit, limits: TensionLimits, unit: str | None) -> dict[str, Any]:
    said = (hit.groups.get("tension_unit") or "").strip()
    number = float(hit.groups.get("n") or 0)
    value = -number if hit.row.reads == "less" else number
    return {"value": tidy(value), "unit": limits.units.get(said, unit or "lb"), "relative_to": MAINS}


@dataclass(frozen=True)
class Context:
    """What a bare figure is read by."""

    limits: TensionLimits
    unit: str | None
    """The unit said in the same breath."""
    badminton: bool

    def may_be(self, number: float) -> bool:
        """Tell whether a figure that nobody asked for may be a tension, its sign left aside."""
        return self.limits.kg_from <= abs(number) <= self.limits.highest_pair


def _item(scan: Scan, hit: Hit, context: Context) -> Item | None:
    number = float(hit.groups["n"] or 0)
    if hit.row.reads in UNITS:
        return Item({"value": tidy(number), "unit": UNITS[hit.row.reads or ""]}, hit.span, hit)
    below_mains = -context.limits.largest_step <= number < 0 and bool(scan.hits.get("side"))
    if scan.asked not in TENSION_ASKED and not (below_mains or context.may_be(number)):
        return None
    unit, readback = context.limits.unit_of(number, context.unit, badminton=context.badminton)
    return Item({"value": tidy(number), "unit": unit}, hit.span, hit, readback)


def _pair(scan: Scan, hit: Hit, context: Context) -> list[Found]:
    numbers = [float(hit.groups["n"] or 0), float(hit.groups["m"] or 0)]
    below = -context.limits.largest_step <= numbers[1] < 0
    if not all(context.may_be(number) for number in numbers[: 1 if below else 2]):
        return []
    unit = PAIRS[hit.row.reads or ""] or context.unit
    if unit is None:
        unit, _ = context.limits.unit_of(numbers[0], None, badminton=context.badminton)
    order = (MAINS, CROSSES)
    sides = [side.row.value for side in scan.hits.get("side", ()) if side.row.value != BOTH]
    if sides[:2] == [CROSSES, MAINS]:
        order = (CROSSES, MAINS)
    found = []
    for side, number in zip(order, numbers, strict=True):
        own, readback = context.limits.unit_of(number, unit, badminton=context.badminton)
        found.append(make(f"{side}_tension", {"value": tidy(number), "unit": own}, hit, readback))
    return found
