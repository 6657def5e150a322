"""The short run of the spoilt input, always the same; `make fuzz` tries other input each time."""

from __future__ import annotations

from tests.fuzz import fuzz

SECONDS, SEED, LEAST = 20, 1, 11


def test_spoilt_input_is_answered_and_never_raises() -> None:
    """Lines of talk, facts, customer lists, string lists, rulebooks, forms of the browser and PINs."""
    found = fuzz(SECONDS, SEED, LEAST)
    assert found.faults == []
    assert set(found.tried) == {
        "hear",
        "talk",
        "decide",
        "take_customers",
        "take_catalogue",
        "take_book",
        "send_form",
        "give_pin",
    }
    assert min(found.tried.values()) >= LEAST
