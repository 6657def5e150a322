"""What is read out of a form's fields."""

from __future__ import annotations

from contextlib import suppress

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.channels.web.forms import FieldUnread, Form, read_drop_off, read_measured
from dialogue.counter.strings import Side


@pytest.mark.parametrize(
    ("text", "values"),
    [
        ("62", (62.0,)),
        ("62 61.5 63", (62.0, 61.5, 63.0)),
        ("62, 61,5, 63", (62.0, 61.5, 63.0)),
        ("62;61;63", (62.0, 61.0, 63.0)),
        ("62,5", (62.5,)),
        ("  38  ", (38.0,)),
        ("", ()),
    ],
)
def test_figures_are_read_as_people_write_them(text: str, values: tuple[float, ...]) -> None:
    """Apart by spaces, semicolons, or a comma and a space; a comma inside is a decimal one."""
    assert read_measured(Form({"values": text})).values == values


@given(st.text(max_size=40))
def test_any_text_is_a_value_or_is_refused_in_words(text: str) -> None:
    """Never another fault."""
    form = Form({"field": text})
    for read in (form.number, form.whole, form.day, form.numbers):
        with suppress(FieldUnread):
            read("field")


def test_crosses_left_empty_are_as_the_mains() -> None:
    """And crosses of another tension alone are crosses of their own."""
    fields = {"frame_check": "sound", "mains_material": "polyester", "mains_tension": "50", "unit": "lb"}
    strings = read_drop_off(Form(fields)).strings
    assert strings
    assert strings.crosses is None
    strings = read_drop_off(Form(fields | {"crosses_tension": "48"})).strings
    assert strings
    assert strings.crosses == Side(tension=48.0, unit="lb")


def test_the_same_as_last_time_names_no_strings() -> None:
    """Whatever else is left in the form."""
    drop_off = read_drop_off(Form({"frame_check": "sound", "strings": "last", "mains_material": "polyester"}))
    assert drop_off.same_as == "last"
    assert drop_off.strings is None
