"""What fired rows amount to: unique, any, first, collect."""

from __future__ import annotations

import pytest

from rules.book_format import Scalar
from rules.errors import BookError
from rules.hitpolicy import apply_hit_policy
from rules.tables import Row, Table


def row(order: int, result: Scalar) -> Row:
    """A row of a made-up table that gives one result."""
    return Row(f"row-{order}", "bench", order, {}, {"result": result}, "Says so.", "house rule")


def table(policy: str, *rows: Row) -> Table:
    """A made-up table."""
    return Table("bench", "A bench for tests", policy, complete=False, inputs={}, rows=rows, facts={})


ONE, SAME, OTHER = row(0, "dead"), row(1, "dead"), row(2, "worn")


@pytest.mark.parametrize("policy", ["unique", "any", "first", "collect"])
def test_one_row_or_none_is_right_under_every_policy(policy: str) -> None:
    """Nothing fired is nothing; one row is that row."""
    assert apply_hit_policy(table(policy, ONE), []) == ()
    assert apply_hit_policy(table(policy, ONE), [ONE]) == (ONE,)


def test_unique_refuses_two_rows_even_if_they_agree() -> None:
    """Two rows of a unique table are a mistake in the book, named with both."""
    with pytest.raises(BookError, match="row-0 and row-1") as caught:
        apply_hit_policy(table("unique", ONE, SAME), [SAME, ONE])
    assert (caught.value.file, caught.value.row) == ("bench", "row-0 and row-1")


def test_any_takes_the_first_of_rows_that_agree() -> None:
    """Rows that give the same stand for each other."""
    assert apply_hit_policy(table("any", ONE, SAME), [SAME, ONE]) == (ONE,)


def test_any_refuses_rows_that_disagree() -> None:
    """Rows that give different results cannot stand for each other."""
    with pytest.raises(BookError, match="make them agree"):
        apply_hit_policy(table("any", ONE, OTHER), [OTHER, ONE])


def test_first_takes_the_first_by_its_place_in_the_table() -> None:
    """The order in which rows fired does not matter."""
    assert apply_hit_policy(table("first", ONE, SAME, OTHER), [OTHER, SAME]) == (SAME,)


def test_collect_takes_all_in_table_order() -> None:
    """Everything that fired is said, in the order of the book."""
    assert apply_hit_policy(table("collect", ONE, SAME, OTHER), [OTHER, ONE]) == (ONE, OTHER)
