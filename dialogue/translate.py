"""Between the rows that are stored, the facts of the rules and the values of a sentence; decides and words nothing."""

from __future__ import annotations

import calendar
import datetime as dt
import re
from collections.abc import Callable, Mapping, Sequence
from typing import Any

from rules.book_format import OUTPUTS
from rules.decision import Decision, Verdict
from rules.facts import Facts, Kind, Level, Material, Season, Span, Sport, Symptom
from rules.intake import POUNDS_PER
from rules.trail import REASONS
from storage.rows import CustomerRow, RacquetRow, ReadingRole, ReadingRow, StringJobRow

Phrase = dict[str, Any]
"""A response key with the values its sentence names; the values may be phrases in turn."""

NOTES = "notes"
STEPS = tuple(table for table in REASONS if table != NOTES)
"""The tables a short "why" goes through; notes are told apart from it."""
WEEKS_A_YEAR = 52
MONTHS_A_YEAR = 12
TAIL_SHOWN = 4
SPANS = ("plays_per_week", "hours_per_play", "hours_per_week")
"""What a customer's card keeps as a lowest and a highest figure."""


def phrase(key: str, **values: Any) -> Phrase:
    """Return a phrase: a response key and its values."""
    return {"key": key, **values}


def number(value: float) -> str:
    """Return a number without needless zeros."""
    return f"{round(value, 2):g}"


def fact_phrase(slot: str, value: Any) -> Phrase:
    """Return the phrase that says a value of a slot."""
    return SPOKEN[slot](value) if slot in SPOKEN else _word(value)


def facts_phrases(facts: Mapping[str, Any], slots: Sequence[str]) -> list[Phrase]:
    """Return the phrases for several slots of the facts, both sides of the stringbed as one where they are alike."""
    left = list(slots)
    said: list[Phrase] = []
    for side, both in (("material", "utter_value_full_bed"), ("tension", "utter_value_tension_both")):
        mains, crosses = f"mains_{side}", f"crosses_{side}"
        if {mains, crosses} <= set(left) and facts[crosses] in ("same_as_mains", facts[mains]):
            value = {side: _word(facts[mains]) if side == "material" else tension_phrase(facts[mains])}
            left[left.index(mains)] = both
            left.remove(crosses)
            said.append(phrase(both, **value))
    alike = {each["key"]: each for each in said}
    if "hybrid" in left and {"mains_material", "crosses_material"} <= {*left, *slots}:
        left.remove("hybrid")
    return [alike[slot] if slot in alike else fact_phrase(slot, facts[slot]) for slot in left]


def _word(value: Any) -> Phrase:
    return phrase(f"utter_value_{value}")


def _side(key: str) -> Callable[[Any], Phrase]:
    return lambda value: _word(value) if value == "same_as_mains" else phrase(key, material=_word(value))


def _truth(slot: str) -> Callable[[Any], Phrase]:
    return lambda value: phrase(f"utter_value_{slot}_{str(value).lower()}")


def tension_phrase(value: Any) -> Phrase:
    """Return the phrase for a tension."""
    return phrase(f"utter_value_{value['unit']}", n=number(value["value"]))


def absolute_tension(value: Mapping[str, Any], mains: Mapping[str, Any] | None) -> dict[str, Any] | None:
    """Return a tension said as a difference to the mains as one of its own, in the unit of the mains."""
    if mains is None:
        return None
    step = value["value"] * POUNDS_PER[value["unit"]] / POUNDS_PER[mains["unit"]]
    return {"value": round(mains["value"] + step, 1), "unit": mains["unit"]}


def _step(value: Any) -> Phrase:
    size = {**value, "value": abs(value["value"])}
    return phrase(
        "utter_value_step_up" if value["value"] > 0 else "utter_value_step_down", tension=tension_phrase(size)
    )


def stepped(facts: Mapping[str, Any], step: Mapping[str, Any]) -> dict[str, Any]:
    """Return the tensions among facts JSON, each moved by a step."""
    found = {}
    for slot in ("mains_tension", "crosses_tension"):
        if isinstance(facts.get(slot), Mapping):
            found[slot] = absolute_tension(step, facts[slot])
    return found


def _tension(key: str) -> Callable[[Any], Phrase]:
    return lambda value: _word(value) if value == "same_as_mains" else phrase(key, tension=tension_phrase(value))


def plays_phrase(value: Any) -> Phrase:
    """Return the phrase for plays a week, in the unit in which people would say it."""
    if isinstance(value, Mapping):
        return phrase("utter_value_plays_range", low=number(value["min"]), high=number(value["max"]))
    if value in (0, 1, 2):
        return phrase(f"utter_value_plays_{value:g}")
    if value > 1:
        return phrase("utter_value_plays_week", n=number(value))
    return phrase("utter_value_plays_fortnight") if value == 1 / 2 else _seldom(value)


def _seldom(plays_per_week: float) -> Phrase:
    yearly = round(plays_per_week * WEEKS_A_YEAR)
    monthly = round(yearly / MONTHS_A_YEAR)
    if monthly > 1:
        return phrase("utter_value_plays_month", n=monthly)
    if yearly >= MONTHS_A_YEAR - 1:
        return phrase("utter_value_plays_month_1")
    return phrase("utter_value_plays_year", n=yearly)


def _hours(slot: str) -> Callable[[Any], Phrase]:
    def say(value: Any) -> Phrase:
        if isinstance(value, Mapping):
            span = phrase("utter_value_span", low=number(value["min"]), high=number(value["max"]))
            return phrase(f"utter_value_{slot}", n=span)
        return phrase(f"utter_value_{slot}_1") if value == 1 else phrase(f"utter_value_{slot}", n=number(value))

    return say


def day_phrase(day: str | dt.date) -> Phrase:
    """Return the phrase for a day, or for a month or a year named alone."""
    if isinstance(day, dt.date):
        day = day.isoformat()
    year, month, date = ([*day.split("-"), "", ""])[:3]
    if not month:
        return phrase("utter_value_year", year=year)
    name = calendar.month_name[int(month)]
    if not date:
        return phrase("utter_value_month", month=name, year=year)
    return phrase("utter_value_day", day=int(date), month=name, year=year)


def other_day_order(day: Any) -> str | None:
    """Return the day with month and day of the month changed round, or None where that is no day."""
    if not isinstance(day, str):
        return None
    try:
        meant = dt.date.fromisoformat(day)
        return meant.replace(month=meant.day, day=meant.month).isoformat()
    except ValueError:
        return None


def _day(key: str) -> Callable[[Any], Phrase]:
    def say(value: Any) -> Phrase:
        said = str(value["value"] if isinstance(value, Mapping) else value)
        if key != "utter_value_strung_on":
            return phrase(key, date=day_phrase(said))
        exact = isinstance(value, str) or not value.get("approx")
        known = re.fullmatch(r"\d{4}(-\d\d)?", said)
        return phrase(
            "utter_value_strung_in" if known else key if exact else "utter_value_strung_about", date=day_phrase(said)
        )

    return say


def reading_phrase(value: Any) -> Phrase:
    """Return the phrase for one reading, or for the mean of its repeats."""
    entry = value[0] if isinstance(value, list) else value
    entry = entry if isinstance(entry, Mapping) else {"value": entry}
    values = entry.get("values") or [entry["value"]]
    return phrase(f"utter_value_{entry.get('kind') or 'unnamed'}", n=number(sum(values) / len(values)))


def _symptoms(value: Any) -> Any:
    return [_word(symptom) for symptom in value] if value else phrase("utter_value_symptoms_none")


def product_phrases(products: Mapping[str, Any]) -> list[Phrase]:
    """Return the phrases for the shop's products, both sides of the stringbed as one where they are alike."""
    said = {side: _product(product) for side, product in products.items()}
    if said.get("mains") == said.get("crosses"):
        return [said["mains"]] if said else []
    return [phrase(f"utter_value_product_{side}", product=said[side]) for side in ("mains", "crosses") if side in said]


def _product(product: Mapping[str, Any]) -> Phrase:
    if product["gauge"]:
        return phrase("utter_value_product_gauge", name=product["name"], gauge=product["gauge"])
    return phrase("utter_value_product", name=product["name"])


SPOKEN: Mapping[str, Callable[[Any], Any]] = {
    "plays_per_week": plays_phrase,
    "hours_per_play": _hours("hours_per_play"),
    "hours_per_week": _hours("hours_per_week"),
    "mains_material": _side("utter_value_mains"),
    "crosses_material": _side("utter_value_crosses"),
    "hybrid": _truth("hybrid"),
    "breaks_strings": _truth("breaks_strings"),
    "group": lambda value: phrase("utter_value_group", group=value),
    "mains_tension": _tension("utter_value_mains_tension"),
    "crosses_tension": _tension("utter_value_crosses_tension"),
    "strung_on": _day("utter_value_strung_on"),
    "label_due": _day("utter_value_label_due"),
    "league_start": _day("utter_value_league_start"),
    "promised_on": _day("utter_value_promised_on"),
    "baseline": lambda value: phrase("utter_value_baseline", n=reading_phrase(value)),
    "reading": lambda value: phrase("utter_value_reading", n=reading_phrase(value)),
    "symptoms": _symptoms,
    "products": product_phrases,
    "tension_step": _step,
    "printed_range": lambda value: phrase(
        "utter_value_printed_range", low=number(value["min"]), high=number(value["max"]), unit=value["unit"]
    ),
    "head_size": lambda value: phrase("utter_value_head_size", n=number(value)),
    "pattern": lambda value: phrase("utter_value_pattern", mains=value[0], crosses=value[1]),
    "gauge": lambda value: phrase("utter_value_gauge", n=f"{value:.2f}"),
    "same_as": lambda value: phrase(f"utter_value_same_as_{value}"),
    "seen_by": lambda value: phrase("utter_value_seen_by", name=value),
    "customer_email": lambda value: phrase("utter_value_customer_email", address=value),
    "racquet_count": lambda value: phrase(f"utter_value_racquet_count{'_1' if value == 1 else ''}", n=number(value)),
    "customer_name": lambda value: phrase("utter_value_customer_name", name=value),
    "customer_phone": lambda value: phrase("utter_value_customer_phone", tail=phone_tail(value)),
}


def phone_tail(phone: str | None) -> str:
    """Return the last digits of a number, as they tell two people of one name apart."""
    return re.sub(r"\D", "", phone or "")[-TAIL_SHOWN:]


def job_facts(job: StringJobRow, readings: Sequence[ReadingRow]) -> dict[str, Any]:
    """Return what a stringing on record tells, as facts JSON."""
    facts: dict[str, Any] = {}
    for side in ("mains", "crosses"):
        if material := getattr(job, f"{side}_material"):
            facts[f"{side}_material"] = material
        if tension := getattr(job, f"{side}_tension"):
            facts[f"{side}_tension"] = {"value": tension, "unit": getattr(job, f"{side}_tension_unit") or "lb"}
    if job.strung_on:
        day = job.strung_on.isoformat()
        facts["strung_on"] = {"value": day, "approx": True} if job.strung_on_approx else day
    if job.label_due:
        facts["label_due"] = job.label_due.isoformat()
    fresh = [row for row in readings if row.role == ReadingRole.BASELINE]
    checks = [row for row in readings if row.role == ReadingRole.CHECK]
    if fresh:
        facts["baseline"] = [reading_json(row) for row in fresh]
    if checks:
        facts["reading"] = [reading_json(checks[-1])]
    return facts


def job_products(job: StringJobRow) -> dict[str, Any]:
    """Return the shop's products of a stringing on record, by side, in the form a slot holds."""
    found: dict[str, Any] = {}
    for side in ("mains", "crosses"):
        name, material, gauge = (getattr(job, f"{side}_{part}") for part in ("product", "material", "gauge"))
        if name:
            found[side] = {"name": name, "material": material, "gauge": gauge}
    return found


def reading_json(row: ReadingRow) -> dict[str, Any]:
    """Return a stored reading as facts JSON."""
    found: dict[str, Any] = {"value": row.values[0]} if len(row.values) == 1 else {"values": list(row.values)}
    found |= {"kind": row.kind, "taken_on": row.taken_on.isoformat()}
    return found | {name: getattr(row, name) for name in ("unit", "instrument") if getattr(row, name)}


def printed_range(racquet: RacquetRow) -> dict[str, Any] | None:
    """Return the range printed on a frame as the conversation keeps it; None where nobody read it."""
    low, high = racquet.tension_min_lb, racquet.tension_max_lb
    return None if low is None or high is None else {"min": low, "max": high, "unit": "lb"}


def range_lb(printed: Mapping[str, Any] | None) -> tuple[float, float] | None:
    """Return a printed range that the conversation keeps as its ends in lb; None where nobody read it."""
    if not printed:
        return None
    per = POUNDS_PER[printed["unit"] or "lb"]
    return printed["min"] * per, printed["max"] * per


def span_lb(ends: tuple[float, float] | None) -> Span | None:
    """Return the ends of a range in lb as the rules take them; None where nobody read it."""
    return Span(*ends) if ends else None


def customer_facts(customer: CustomerRow) -> dict[str, Any]:
    """Return how a customer on record plays, as facts JSON."""
    facts: dict[str, Any] = {
        name: getattr(customer, name)
        for name in ("level", "season", "breaks_strings", "group")
        if getattr(customer, name) is not None
    }
    for name in SPANS:
        low, high = getattr(customer, f"{name}_low"), getattr(customer, f"{name}_high")
        if low is not None:
            facts[name] = low if high in (None, low) else {"min": low, "max": high}
    return facts


def customer_values(facts: Facts) -> dict[str, Any]:
    """Return what a customer's card keeps of the facts: how he or she plays."""
    values = {name: getattr(facts, name) for name in ("level", "season", "breaks_strings", "group")}
    for name in SPANS:
        span = getattr(facts, name)
        values |= {f"{name}_low": span and span.low, f"{name}_high": span and span.high}
    return {name: value for name, value in values.items() if value is not None}


def job_values(facts: Facts) -> dict[str, Any]:
    """Return what a stringing's card keeps of the facts: its strings and its dates."""
    values: dict[str, Any] = {}
    for side in ("mains", "crosses"):
        values[f"{side}_material"] = getattr(facts, f"{side}_material")
        if tension := getattr(facts, f"{side}_tension"):
            values |= {f"{side}_tension": tension.value, f"{side}_tension_unit": tension.unit}
    if facts.strung_on:
        values |= {"strung_on": facts.strung_on.day, "strung_on_approx": facts.strung_on.approx}
    if facts.label_due:
        values["label_due"] = facts.label_due.day
    return {name: value for name, value in values.items() if value is not None}


def due_values(decision: Decision) -> dict[str, Any]:
    """Return what a stringing's card keeps of a decision: until when the strings are good."""
    window = decision.window or (None, None)
    return {
        "restring_by": decision.restring_by,
        "window_first": window[0],
        "window_last": window[1],
        "approximate": decision.approximate,
    }


def rule_words() -> dict[str, tuple[str, ...]]:
    """Return the names the rules use for which the dialogue must have words."""
    return {
        "verdict": tuple(Verdict),
        "caution": tuple(str(name) for name in OUTPUTS["cautions"]["caution"]),
        "value": (*Level, *Material, *Kind, *Symptom, *Sport, *Season),
        "offer": OFFERED,
    }


OFFERED = (
    "reading",
    "baseline",
    "label_due",
    "level",
    "mains_material",
    "crosses_material",
    "strung_on",
    "plays_per_week",
    "league_start",
    "symptoms",
)
"""The facts that may make an answer firmer."""
