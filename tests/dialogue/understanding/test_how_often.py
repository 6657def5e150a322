"""Which figure it comes to when somebody says how often or how long, beside exact fractions."""

from __future__ import annotations

from fractions import Fraction
from pathlib import Path
from typing import Any

import pytest
import yaml

from dialogue.understanding import understand
from tests.dialogue.understanding.scoring import REFERENCE_DAY

ROWS = yaml.safe_load((Path(__file__).parent / "how_often.yaml").read_text("utf-8"))


def figure(given: Any) -> Any:
    """Return a fraction of the table as a figure of two places, both ends of a range, or nothing."""
    if isinstance(given, dict):
        return {end: figure(value) for end, value in given.items()}
    return None if given is None else round(float(Fraction(str(given))), 2)


@pytest.mark.parametrize("row", ROWS, ids=lambda row: row["said"])
def test_the_figure_is_the_fraction(row: dict[str, Any]) -> None:
    """Said to the question it answers."""
    meant = understand(row["said"], asked=row["asked"], today=REFERENCE_DAY)
    assert meant.slots.get(row["asked"]) == figure(row["gives"])
