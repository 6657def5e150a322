"""What the board's forms hold, as the values the use cases take; checks no trade limit."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Mapping
from typing import Any

from assistant.channels.web.wording import load_words
from dialogue.counter.bench import Strung
from dialogue.counter.customers import CustomerDraft
from dialogue.counter.drop_off import DropOff, Frame
from dialogue.counter.readings import Measured
from dialogue.counter.strings import Side, Strings

YES = "yes"


class FieldUnread(Exception):
    """A field holds something that cannot be read; its text may be shown."""

    def __init__(self, field: str, kind: str) -> None:
        super().__init__(load_words()["forms"][kind])
        self.field = field


class Form:
    """The fields of a form that was sent."""

    def __init__(self, fields: Mapping[str, Any]) -> None:
        self._fields = fields

    def text(self, name: str) -> str | None:
        """Return a field's text; None where it is empty."""
        return str(self._fields.get(name) or "").strip() or None

    def number(self, name: str) -> float | None:
        """Return a field's number, with a point or a comma; None where it is empty."""
        text = self.text(name)
        if text is None:
            return None
        if not re.fullmatch(r"-?\d{1,6}([.,]\d{1,4})?", text):
            raise FieldUnread(name, "number")
        return float(text.replace(",", "."))

    def whole(self, name: str) -> int | None:
        """Return a field's whole number; None where it is empty."""
        text = self.text(name)
        if text is None:
            return None
        if not re.fullmatch(r"\d{1,9}", text):
            raise FieldUnread(name, "whole")
        return int(text)

    def day(self, name: str) -> dt.date | None:
        """Return a field's day; None where it is empty."""
        text = self.text(name)
        try:
            return dt.date.fromisoformat(text) if text else None
        except ValueError as error:
            raise FieldUnread(name, "day") from error

    def numbers(self, name: str) -> tuple[float, ...]:
        """Return the numbers of a field, apart by spaces, semicolons or a comma and a space: "62 61.5 62"."""
        text = self.text(name) or ""
        parts = [part for part in re.split(r",?\s+|;", text) if part]
        try:
            return tuple(float(part.replace(",", ".")) for part in parts)
        except ValueError as error:
            raise FieldUnread(name, "numbers") from error

    def ticked(self, name: str) -> bool:
        """Tell whether a box is ticked."""
        return self.text(name) == YES


def read_customer(form: Form) -> CustomerDraft:
    """Return what a form says of a customer."""
    return CustomerDraft(
        name=form.text("name"),
        phone=form.text("phone"),
        email=form.text("email"),
        consent_to_contact=form.ticked("consent") if form.text("consent_asked") else None,
        level=form.text("level"),
        plays_per_week=form.number("plays_per_week"),
    )


def read_drop_off(form: Form) -> DropOff:
    """Return what the drop-off form says."""
    customer_id = form.whole("customer_id")
    frame_check = form.text("frame_check")
    if frame_check is None:
        raise FieldUnread("frame_check", "frame_check")
    return DropOff(
        customer_id=customer_id,
        new_customer=read_customer(form),
        racquet_id=form.whole("racquet_id"),
        frame=Frame(
            nickname=form.text("nickname"),
            sport=form.text("sport"),
            head_size_in2=form.number("head_size_in2"),
            mains_count=form.whole("mains_count"),
            crosses_count=form.whole("crosses_count"),
            tension_min_lb=form.number("tension_min_lb"),
            tension_max_lb=form.number("tension_max_lb"),
        ),
        frame_check=frame_check,
        seen_by=form.text("seen_by"),
        strings=None if form.text("strings") == "last" else _read_strings(form),
        same_as="last" if form.text("strings") == "last" else None,
        promised_on=form.day("promised_on"),
        wish=form.text("wish"),
        notes=form.text("notes"),
    )


def read_unsure(form: Form) -> dict[str, Any]:
    """Return what the drop-off form says of somebody who does not know which strings to take, as facts JSON."""
    said: dict[str, Any] = {name: form.text(name) for name in ("level", "sport", "mains_material", "crosses_material")}
    said |= {
        "symptoms": ["arm_pain"] if form.ticked("arm_pain") else [],
        "breaks_strings": form.ticked("breaks_strings"),
    }
    return {name: value for name, value in said.items() if value is not None}


def read_strung(form: Form, tag: str) -> Strung:
    """Return what the form of a finished stringing says."""
    return Strung(
        tag=tag,
        machine=form.text("machine"),
        pieces=form.whole("pieces"),
        prestretch_percent=form.number("prestretch_percent"),
        strung_on=form.day("strung_on"),
    )


def read_measured(form: Form) -> Measured:
    """Return what a form says an instrument showed."""
    return Measured(
        values=form.numbers("values"),
        kind=form.text("kind"),
        instrument=form.text("instrument"),
        taken_on=form.day("taken_on"),
        note=form.text("note"),
        sure=form.text("sure") == "yes",
    )


def _read_strings(form: Form) -> Strings:
    crosses = _read_side(form, "crosses")
    return Strings(mains=_read_side(form, "mains"), crosses=None if crosses == Side(unit=crosses.unit) else crosses)


def _read_side(form: Form, side: str) -> Side:
    return Side(
        material=form.text(f"{side}_material"),
        product=form.text(f"{side}_product"),
        tension=form.number(f"{side}_tension"),
        unit=form.text("unit") or "lb",
        gauge=form.text(f"{side}_gauge"),
    )
