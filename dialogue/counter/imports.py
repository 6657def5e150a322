"""A shop's lists of customers and of strings taken over, batch by batch, with a report of every refused line."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, field
from typing import Any

from dialogue.counter.counter import Counter
from dialogue.counter.customers import CustomerDraft, read_draft
from dialogue.counter.limits import check_range, check_text
from dialogue.counter.outcomes import Outcome, Refused, Remark, answering, refuse
from dialogue.counter.tables import Line, LineReport, Table, read_number, read_table, read_word
from rules.errors import FactRefused
from storage.rows import CatalogueProductRow, CustomerRow, LeagueRow
from storage.spoken import fold
from storage.unit_of_work import UnitOfWork

BATCH = 1000
"""Lines of one transaction."""
Progress = Callable[[int, int], None]
"""Told after each batch: lines done, lines in all."""


@dataclass(frozen=True, kw_only=True)
class ImportReport(Outcome):
    """What came of a file."""

    lines: int
    """Lines with anything in them, without the head."""
    added: int
    changed: int = 0
    known: int = 0
    """Lines that say nothing new."""
    resumed_after: int = 0
    """How many lines an earlier run of the same file had done."""
    refused: tuple[LineReport, ...]
    """Every line that was left out, with why."""
    partly: tuple[LineReport, ...]
    """Lines that went in without one of their cells, with why."""
    ignored_columns: tuple[str, ...] = ()
    encoding: str = "utf-8"


@dataclass
class _Tally:
    """The report while it grows."""

    refused: list[LineReport] = field(default_factory=list)
    partly: list[LineReport] = field(default_factory=list)
    added: int = 0
    changed: int = 0
    known: int = 0

    def refuse(self, line: int, remark: Remark) -> None:
        """Note that a line was left out."""
        self.refused.append(LineReport(line=line, remark=remark))


@answering
def import_customers(
    counter: Counter, content: bytes, encoding: str | None = None, progress: Progress | None = None
) -> ImportReport:
    """Take over a list of customers; a second run of the same file goes on where the first was stopped.

    Each batch is one transaction together with the note how far the file has come, so that nothing is lost or
    taken twice whatever happens in between. Undo takes back one batch at a time.
    """
    table = read_table(content, "customers", (("name",), ("first_name", "last_name"), ("last_name",)), encoding)
    tally = _Tally()
    with counter.look() as unit:
        reader = _CustomerReader(counter, tally, unit.customers.all(), unit.leagues.all())
        key = f"import.customers.{table.fingerprint}"
        resumed_after = int(unit.settings.value(key, 0))
    done = 0
    while done < len(table.lines):
        lines = table.lines[done : done + BATCH]
        done += len(lines)
        if done <= resumed_after:
            # Read again for the report alone: an earlier run has stored them.
            for line in lines:
                reader.read(line, again=True)
            continue
        with counter.work() as unit:
            _keep_customers(unit, [plan for line in lines if (plan := reader.read(line))], tally)
            unit.settings.set(key, done)
        if progress:
            progress(done, len(table.lines))
    return _report(table, tally, resumed_after)


@answering
def import_catalogue(
    counter: Counter, content: bytes, encoding: str | None = None, progress: Progress | None = None
) -> ImportReport:
    """Take over the strings the shop sells: product, material and gauge in millimetres."""
    table = read_table(content, "catalogue", (("product", "material"),), encoding)
    tally = _Tally()
    seen: dict[tuple[str, float | None], int] = {}
    with counter.work() as unit:
        stored = {(fold(row.product), row.gauge_mm): row for row in unit.catalogue.all()}
        for line in table.lines:
            product = _read_product(line, tally)
            if product is None:
                continue
            key = (fold(product.product), product.gauge_mm)
            if key in seen:
                tally.refuse(line.number, Remark(reason="line_twice", fact="product", values={"line": seen[key]}))
                continue
            seen[key] = line.number
            _keep_product(unit, product, stored.get(key), tally)
    if progress:
        progress(len(table.lines), len(table.lines))
    return _report(table, tally, 0)


def _report(table: Table, tally: _Tally, resumed_after: int) -> ImportReport:
    return ImportReport(
        lines=len(table.lines),
        added=tally.added,
        changed=tally.changed,
        known=tally.known,
        resumed_after=resumed_after,
        refused=tuple(tally.refused),
        partly=tuple(tally.partly),
        ignored_columns=table.ignored,
        encoding=table.encoding,
    )


@dataclass(frozen=True)
class _Plan:
    """A customer to add, and the leagues to join."""

    row: CustomerRow
    leagues: tuple[int, ...]


class _CustomerReader:
    """Reads one line after the other and knows who is on record or stood in the file before."""

    def __init__(
        self, counter: Counter, tally: _Tally, customers: Iterable[CustomerRow], leagues: Iterable[LeagueRow]
    ) -> None:
        self._counter = counter
        self._tally = tally
        self._stored = {_likeness_key(row.name, row.phone, row.email) for row in customers}
        self._lines: dict[tuple[str, str | None], int] = {}
        self._leagues = {fold(league.name): league.id for league in leagues}

    def read(self, line: Line, *, again: bool = False) -> _Plan | None:
        """Return the customer of a line, or None and note why not.

        Args:
            line: the line.
            again: whether an earlier run has stored it, so that being on record is no surprise.
        """
        if line.problem:
            self._tally.refuse(line.number, line.problem)
            return None
        try:
            values, remarks = read_draft(self._counter, _draft(line))
            if not values.get("name"):
                raise refuse("name_missing", "name")
            self._check_new(values, line.number, again=again)
        except Refused as refused:
            self._tally.refuse(line.number, _as_remark(refused))
            return None
        except FactRefused as refused:
            said = {"message": refused.message, "value": refused.value}
            self._tally.refuse(line.number, Remark(reason="fact", fact=refused.fact, values=said))
            return None
        league = line.cells.get("league")
        found = self._leagues.get(fold(league)) if league else None
        if league and found is None:
            remarks = (*remarks, Remark(reason="league_unknown", fact="league", values={"value": league[:40]}))
        self._tally.partly.extend(LineReport(line=line.number, remark=remark) for remark in remarks)
        return _Plan(CustomerRow(**values), () if found is None else (found,))

    def _check_new(self, values: dict[str, Any], line: int, *, again: bool) -> None:
        key = _likeness_key(values["name"], values.get("phone"), values.get("email"))
        if key in self._lines:
            raise refuse("line_twice", "name", line=self._lines[key])
        self._lines[key] = line
        if key in self._stored and not again:
            raise refuse("on_record", "name", value=values["name"])


def _likeness_key(name: str, phone: str | None, email: str | None) -> tuple[str, str | None]:
    """Return what makes two customers one: the name with the number, or the address where there is no number."""
    return fold(name), phone or email


def _keep_customers(unit: UnitOfWork, plans: list[_Plan], tally: _Tally) -> None:
    rows = unit.customers.add_all(plan.row for plan in plans)
    for plan, row in zip(plans, rows, strict=True):
        for league_id in plan.leagues:
            unit.leagues.join(league_id, row.id)
    tally.added += len(rows)


def _draft(line: Line) -> CustomerDraft:
    cells = line.cells
    name = cells.get("name") or " ".join(cells[part] for part in ("first_name", "last_name") if part in cells)
    return CustomerDraft(
        name=name or None,
        phone=cells.get("phone"),
        email=cells.get("email"),
        consent_to_contact=_truth(cells, "consent_to_contact"),
        level=read_word("level", "level", cells["level"]) if "level" in cells else None,
        plays_per_week=_span(cells, "plays_per_week"),
        hours_per_play=_span(cells, "hours_per_play"),
        hours_per_week=_span(cells, "hours_per_week"),
        season=cells["season"].casefold() if "season" in cells else None,
        breaks_strings=_truth(cells, "breaks_strings"),
        group=cells["group"].casefold() if "group" in cells else None,
        notes=cells.get("notes"),
    )


def _truth(cells: Any, column: str) -> bool | None:
    return read_word("truth", column, cells[column]) == "yes" if column in cells else None


def _span(cells: Any, column: str) -> float | tuple[float, float] | None:
    if column not in cells:
        return None
    low, dash, high = cells[column].replace("\N{EN DASH}", "-").partition("-")
    return (read_number(column, low), read_number(column, high)) if dash else read_number(column, low)


def _read_product(line: Line, tally: _Tally) -> CatalogueProductRow | None:
    if line.problem:
        tally.refuse(line.number, line.problem)
        return None
    try:
        cells = line.cells
        product = check_text("product", cells.get("product"), "name_characters")
        if not product:
            raise refuse("product_missing", "product")
        if "material" not in cells:
            raise refuse("material_missing", "material")
        gauge = None
        if "gauge_mm" in cells:
            gauge = check_range("gauge_mm", read_number("gauge_mm", cells["gauge_mm"].lower().removesuffix("mm")))
        return CatalogueProductRow(
            product=product,
            material=read_word("material", "material", cells["material"]),
            gauge_mm=gauge,
            note=check_text("note", cells.get("note")),
        )
    except Refused as refused:
        tally.refuse(line.number, _as_remark(refused))
        return None


def _keep_product(
    unit: UnitOfWork, product: CatalogueProductRow, stored: CatalogueProductRow | None, tally: _Tally
) -> None:
    if stored is None:
        unit.catalogue.add(product)
        tally.added += 1
    elif (stored.material, stored.note) != (product.material, product.note):
        unit.catalogue.change(stored.id, material=product.material, note=product.note)
        tally.changed += 1
    else:
        tally.known += 1


def _as_remark(refused: Refused) -> Remark:
    refusal = refused.refusal
    return Remark(reason=refusal.reason, fact=refusal.fact, values=refusal.values)
