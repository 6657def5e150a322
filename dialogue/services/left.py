"""A racquet left at the counter: from what was said of it to what the counter takes in; keeps nothing."""

from __future__ import annotations

import datetime as dt
from collections.abc import Mapping
from dataclasses import replace
from typing import Any

from dialogue.counter.customers import CustomerDraft
from dialogue.counter.drop_off import DropOff, Frame
from dialogue.counter.outcomes import Refusal
from dialogue.counter.strings import SIDES, Side, Strings, outside_printed
from dialogue.translate import range_lb
from rules.facts import Facts
from storage.rows import RacquetRow

TAIL = 7
"""A number of so few digits is only the end of one."""


def read_drop_off(customer: Mapping[str, Any], said: Mapping[str, Any], facts: Facts) -> DropOff:
    """Return what was said of a racquet left at the counter as the counter takes it in.

    Args:
        customer: as `Services.take_in` has it.
        said: as `Services.take_in` has it.
        facts: the strings wanted, of what was said.
    """
    day = said.get("promised_on")
    low, high = range_lb(said.get("printed_range")) or (None, None)
    mains_count, crosses_count = said.get("pattern") or (None, None)
    same = said.get("same_as")
    return DropOff(
        customer_id=customer["customer_id"],
        new_customer=_draft(customer),
        racquet_id=customer.get("racquet_id"),
        frame=Frame(
            nickname=said.get("racquet_name"),
            sport=said["facts"].get("sport"),
            head_size_in2=said.get("head_size"),
            mains_count=mains_count,
            crosses_count=crosses_count,
            tension_min_lb=low,
            tension_max_lb=high,
        ),
        frame_check=said["frame_check"],
        seen_by=said.get("seen_by"),
        strings=_of_gauge(_changes(facts, said) if same else _strings(facts, said.get("products") or {}), said),
        same_as=same,
        promised_on=dt.date.fromisoformat(day) if day else None,
        wish=said.get("wish"),
    )


def is_tail(phone: str | None) -> bool:
    """Tell whether only the end of a number was given, which tells namesakes apart and reaches nobody."""
    return phone is not None and len(phone) <= TAIL


def outside_range(facts: Facts, printed: Mapping[str, Any] | None) -> Refusal | None:
    """Return the refusal of tensions outside the range printed on the frame; None where they are inside or unsaid."""
    strings = _tensions(facts) if facts.mains_tension else None
    if strings is None:
        return None
    low, high = range_lb(printed) or (None, None)
    return outside_printed(RacquetRow(tension_min_lb=low, tension_max_lb=high), strings.columns())


def _draft(customer: Mapping[str, Any]) -> CustomerDraft | None:
    """Return what is new of a customer: everything of a new one; an address was given to be written to."""
    email = customer.get("email")
    told = {"email": email, "consent_to_contact": True} if email else {}
    if customer["customer_id"] is None:
        phone = customer.get("phone")
        return CustomerDraft(name=customer["name"], phone=None if is_tail(phone) else phone, **told)
    return CustomerDraft(**told) if told else None


def _of_gauge(strings: Strings | None, said: Mapping[str, Any]) -> Strings | None:
    """Return the strings in the gauge that was said; one that came with a product's name stays."""
    if said.get("gauge") is None or (strings is None and not said.get("same_as")):
        return strings
    gauge = f"{said['gauge']:.2f}"
    mains, crosses = (strings.mains, strings.crosses) if strings else (Side(), None)
    return Strings(
        mains=replace(mains, gauge=mains.gauge or gauge),
        crosses=replace(crosses, gauge=crosses.gauge or gauge) if crosses else None,
    )


def _tensions(facts: Facts) -> Strings | None:
    """Return the tensions alone, whatever the strings."""
    mains, crosses = (replace(_side(facts, side), material=None) for side in ("mains", "crosses"))
    return Strings(mains=mains, crosses=None if crosses == Side() else crosses) if mains != Side() else None


def _changes(facts: Facts, said: Mapping[str, Any]) -> Strings | None:
    """Return what is to be other than last time: tensions, and crosses that were named."""
    strings = _tensions(facts)
    if not said.get("crosses_said") or facts.crosses_material is None:
        return strings
    crosses = _of_product(_side(facts, "crosses"), (said.get("products") or {}).get("crosses"))
    return Strings(mains=strings.mains if strings else Side(), crosses=crosses)


def _strings(facts: Facts, products: Mapping[str, Any]) -> Strings | None:
    mains, crosses = (_of_product(_side(facts, side), products.get(side)) for side in SIDES)
    return Strings(mains=mains, crosses=None if crosses == Side() else crosses) if mains.material else None


def _of_product(side: Side, product: Mapping[str, Any] | None) -> Side:
    return replace(side, product=product["name"], gauge=product["gauge"]) if product else side


def _side(facts: Facts, side: str) -> Side:
    material, tension = getattr(facts, f"{side}_material"), getattr(facts, f"{side}_tension")
    side_ = Side(material=material.value if material else None)
    return replace(side_, tension=tension.value, unit=tension.unit) if tension else side_
