"""Strings and tensions wanted: the shop's products, both sides, the range printed on the frame; stores nothing."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

from dialogue.counter.counter import Counter
from dialogue.counter.limits import check_range, check_text, figure
from dialogue.counter.outcomes import Refusal, Refused, Term, refuse
from dialogue.counter.tables import read_word
from rules.intake import POUNDS_PER, parse_facts
from storage.rows import CatalogueProductRow, RacquetRow, StringJobRow
from storage.spoken import fold, likeness
from storage.unit_of_work import UnitOfWork

SIDES = ("mains", "crosses")
STRING_COLUMNS = tuple(
    f"{side}_{part}" for side in SIDES for part in ("material", "tension", "tension_unit", "gauge", "product")
)


@dataclass(frozen=True, kw_only=True)
class Side:
    """What goes into one side of the stringbed."""

    material: str | None = None
    product: str | None = None
    """As the shop's catalogue names it."""
    tension: float | None = None
    unit: str = "lb"
    gauge: str | None = None
    """In millimetres."""
    product_id: int | None = None


@dataclass(frozen=True, kw_only=True)
class Strings:
    """Both sides; crosses None are the same as the mains."""

    mains: Side
    crosses: Side | None = None

    def columns(self) -> dict[str, Any]:
        """Return the columns of a stringing."""
        found: dict[str, Any] = {"catalogue_product_id": self.mains.product_id}
        for name, side in zip(SIDES, (self.mains, self.crosses or self.mains), strict=True):
            found |= {
                f"{name}_material": side.material,
                f"{name}_tension": side.tension,
                f"{name}_tension_unit": side.unit if side.tension is not None else None,
                f"{name}_gauge": side.gauge,
                f"{name}_product": side.product,
            }
        return found


def read_strings(counter: Counter, unit: UnitOfWork, wanted: Strings) -> Strings:
    """Return the strings with products looked up and every value checked.

    What the crosses leave open is as in the mains.
    """
    mains = _read_side(counter, unit, "mains", wanted.mains)
    if mains.material is None:
        raise refuse("material_missing", "mains_material")
    if wanted.crosses is None:
        return Strings(mains=mains)
    crosses = _read_side(counter, unit, "crosses", wanted.crosses)
    if crosses.material is None:
        crosses = replace(crosses, material=mains.material, product=mains.product, gauge=crosses.gauge or mains.gauge)
    if crosses.tension is None:
        crosses = replace(crosses, tension=mains.tension, unit=mains.unit)
    return Strings(mains=mains, crosses=crosses)


def name_side(said: str | None, tension: float | None = None, unit: str = "lb", gauge: str | None = None) -> Side:
    """Return a side whose string was named by its material or as a product."""
    if said is None:
        return Side(tension=tension, unit=unit, gauge=gauge)
    try:
        return Side(material=read_word("material", "mains_material", said), tension=tension, unit=unit, gauge=gauge)
    except Refused:
        return Side(product=said, tension=tension, unit=unit, gauge=gauge)


def same_as(job: StringJobRow) -> dict[str, Any]:
    """Return the columns of an earlier stringing's strings."""
    return {name: getattr(job, name) for name in (*STRING_COLUMNS, "catalogue_product_id")}


def changes(counter: Counter, unit: UnitOfWork, wanted: Strings) -> dict[str, Any]:
    """Return the columns in which a stringing shall differ from an earlier one, checked.

    These are the tensions and the gauge that were named, for the crosses too where they are left open, and crosses
    that were named.
    """
    found: dict[str, Any] = {}
    if wanted.crosses and (wanted.crosses.material or wanted.crosses.product):
        crosses = _read_side(counter, unit, "crosses", replace(wanted.crosses, tension=None))
        parts = ("material", "gauge", "product")
        found |= {f"crosses_{part}": getattr(crosses, part) for part in parts}
    for name, side in zip(SIDES, (wanted.mains, wanted.crosses or wanted.mains), strict=True):
        if side.tension is not None:
            raw = {f"{name}_tension": {"value": side.tension, "unit": side.unit}}
            parse_facts(raw, today=counter.today, limits=counter.book.limits)
            found |= {f"{name}_tension": side.tension, f"{name}_tension_unit": side.unit}
        if side.gauge is not None:
            found[f"{name}_gauge"] = _read_gauge(name, side.gauge)
    return found


def find_product(unit: UnitOfWork, said: str) -> tuple[CatalogueProductRow, ...]:
    """Return the shop's products that may be meant: those of exactly this name, else those that sound alike."""
    products = unit.catalogue.all()
    exact = [row for row in products if fold(row.product) == fold(said)]
    return tuple(
        exact or (row for row in products if likeness(fold(said), fold(row.product)) >= figure("product_likeness"))
    )


def pounds(tension: float, unit: str | None) -> float:
    """Return a pull in lb."""
    return tension * POUNDS_PER[unit or "lb"]


def outside_printed(racquet: RacquetRow, columns: dict[str, Any]) -> Refusal | None:
    """Return the refusal of a tension outside the range printed on the frame, or None."""
    slack = figure("printed_range_tolerance_lb")
    low, high = racquet.tension_min_lb, racquet.tension_max_lb
    for side in SIDES:
        tension, kind = columns[f"{side}_tension"], columns[f"{side}_tension_unit"]
        if tension is None:
            continue
        pull = pounds(tension, kind)
        if (low is not None and pull < low - slack) or (high is not None and pull > high + slack):
            values = {"side": side, "tension": float(tension), "unit": kind, "low": low, "high": high}
            reason = "outside_printed" if low is not None and high is not None else "outside_printed_half"
            return Refusal(reason=reason, fact=f"{side}_tension", values=values)
    return None


def _read_side(counter: Counter, unit: UnitOfWork, name: str, side: Side) -> Side:
    raw: dict[str, Any] = {}
    side = replace(side, product=check_text(f"{name}_product", side.product), gauge=_read_gauge(name, side.gauge))
    if side.product:
        side = _look_up(unit, name, side)
    if side.material is not None:
        raw[f"{name}_material"] = side.material
    if side.tension is not None:
        raw[f"{name}_tension"] = {"value": side.tension, "unit": side.unit}
    parse_facts(raw, today=counter.today, limits=counter.book.limits)
    return side


def _look_up(unit: UnitOfWork, name: str, side: Side) -> Side:
    """Return the side with what the catalogue knows of its product; with a material an unlisted one is kept as said."""
    found = [
        row
        for row in find_product(unit, side.product or "")
        if side.gauge is None or row.gauge_mm is None or f"{row.gauge_mm:g}" == f"{float(side.gauge):g}"
    ]
    if len(found) == 1:
        row = found[0]
        if side.material not in (None, row.material):
            raise refuse("product_of_other_material", name, value=row.product, material=Term(row.material))
        gauge = side.gauge or (f"{row.gauge_mm:.2f}" if row.gauge_mm else None)
        return replace(side, product=row.product, material=row.material, gauge=gauge, product_id=row.id)
    if side.material is not None:
        return side
    if not found:
        raise refuse("product_unknown", f"{name}_product", value=side.product)
    names = [f"{row.product} {row.gauge_mm:g} mm" if row.gauge_mm else row.product for row in found]
    raise refuse("several_products", f"{name}_product", value=side.product, choices=names)


def _read_gauge(name: str, gauge: str | None) -> str | None:
    if gauge is None or not gauge.strip():
        return None
    text = gauge.strip().lower().removesuffix("mm").strip().replace(",", ".")
    try:
        number = float(text)
    except ValueError as error:
        raise refuse("gauge_unreadable", f"{name}_gauge", value=gauge[:20]) from error
    check_range("gauge_mm", number)
    return f"{number:.2f}"
