"""CSV carries what was said, and nothing that a spreadsheet would run."""

from __future__ import annotations

import csv
import io

import pytest
from hypothesis import given
from hypothesis import strategies as st

from assistant.spreadsheet import write_csv


@pytest.mark.parametrize(
    "cell", ["=1+2", "+12025550143", "-1", "@SUM(A1)", "\t=1", "\r=1", " =cmd|' /C calc'!A0", '=HYPERLINK("http://x")']
)
def test_a_cell_that_would_be_a_formula_gets_a_quote(cell: str) -> None:
    """It is then text to every spreadsheet."""
    (row,) = csv.DictReader(io.StringIO(write_csv(["a"], [{"a": cell}]), newline=""))
    assert row["a"] == f"'{cell}"


def test_numbers_truth_and_nothing_stay_plain() -> None:
    """A number is no text, so a negative one needs no quote."""
    text = write_csv(["n", "t", "x", "y"], [{"n": -6, "t": True, "x": None}])
    assert text == "n,t,x,y\r\n-6,yes,,\r\n"


@given(cell=st.text(max_size=60))
def test_any_text_comes_back_whole(cell: str) -> None:
    """Commas, quotes and line ends are kept, with at most a quote before them."""
    (_, row) = csv.reader(io.StringIO(write_csv(["a", "b"], [{"a": cell, "b": "end"}]), newline=""))
    assert row[0].removeprefix("'") == cell.removeprefix("'")
    assert row[1] == "end"
    assert not row[0].startswith(("=", "+", "-", "@", "\t", "\r", "\n"))
