"""What is wanted at a drop-off beside strings and tension: the printed range, the strings of an earlier job."""

from __future__ import annotations

from dialogue.understanding.convert import tidy
from dialogue.understanding.cuebook import Hit
from dialogue.understanding.cues import Scan, make
from dialogue.understanding.found import Found, longest
from dialogue.understanding.sides import TensionLimits

PRINTED, SAME_AS, STEP = "printed_range", "same_as", "tension_step"
LARGEST_STEP = 12
"""Nobody goes farther from the tension of last time in one step."""
DROP_OFF, ADVISE = "drop_off", "advise"
ADVISING = ("ask_same_feel", "ask_advice")
"""The acts that wish for advice; the first is the narrower."""


def read_wanted(scan: Scan, limits: TensionLimits) -> list[Found]:
    """Return the printed range and what is wished for of last time, or advice, where they are listened for."""
    wishes = [hit for hit in scan.hits.get("act", ()) if hit.row.act["intent"] in ADVISING]
    wishes.sort(key=lambda hit: hit.row.act["intent"] != ADVISING[0])
    found = [make(ADVISE, hit.row.act["intent"], hit) for hit in wishes[:1] if scan.asked == DROP_OFF]
    found += [make(SAME_AS, hit.row.value, hit) for hit in scan.held(longest(scan.role(SAME_AS, "value")))[:1]]
    found += [made for hit in longest(scan.role(SAME_AS, "step"))[:1] if (made := _step(hit, limits))]
    for hit in scan.held(longest(scan.role(PRINTED, "value")))[:1]:
        value = _range(hit, limits)
        found += [] if value is None else [make(PRINTED, value, hit)]
    return found


def _step(hit: Hit, limits: TensionLimits) -> Found | None:
    """Return how far from the tension of last time is wanted; "minus 2" is as far as "2 down"."""
    size = abs(float(hit.groups["n"] or 0))
    unit = limits.units.get((hit.groups.get("tension_unit") or "").strip(), "lb")
    return make(STEP, {"value": tidy(hit.row.value * size), "unit": unit}, hit) if 0 < size <= LARGEST_STEP else None


def _range(hit: Hit, limits: TensionLimits) -> dict[str, float | str] | None:
    """Return the range with its unit: the one said, else the one in which both figures can be a tension."""
    low, high = float(hit.groups["n"] or 0), float(hit.groups["m"] or 0)
    if not limits.kg_from <= low < high <= limits.highest_pair:
        return None
    units = [limits.units[word] for word in hit.words.split() if word in limits.units]
    guessed = "kg" if high < limits.lb_from else "lb"
    return {"min": tidy(low), "max": tidy(high), "unit": units[-1] if units else guessed}
