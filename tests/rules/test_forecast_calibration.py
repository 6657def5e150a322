"""Whether the 80 % range holds what it promises, on shops drawn from other laws than the forecast's own."""

from __future__ import annotations

from functools import lru_cache

import pytest

from tests.rules.rehearsals import Rehearsal, rehearse
from tests.rules.simulated_shops import LAWS

SHOPS = range(200, 206)


@lru_cache
def try_out(law: str, past_jobs: int) -> Rehearsal:
    """Return six shops' new jobs, foretold after learning from so many past jobs each."""
    found = Rehearsal()
    for number in SHOPS:
        found.join(rehearse(law, number, past_jobs, new_jobs=60))
    return found


@pytest.mark.parametrize("law", LAWS)
def test_a_shop_that_has_learnt_is_right_four_times_in_five(law: str) -> None:
    """Between 75 and 90 % of the later losses lie in the 80 % range, for Maxwell sums and for Peleg's curve alike."""
    assert 0.75 <= try_out(law, 300).forecast.coverage <= 0.90


@pytest.mark.parametrize("law", LAWS)
def test_the_forecast_beats_a_straight_line_and_the_chart(law: str) -> None:
    """Better held than a ruler on paper, and nearer to the day of 20 % than a ruler or the chart alone."""
    found = try_out(law, 300)
    assert found.forecast.coverage > found.straight.coverage + 0.3

    def off(errors: list[float]) -> float:
        return sorted(errors)[len(errors) // 2]

    assert off(found.forecast.date_errors) < off(found.chart.date_errors) < off(found.straight.date_errors)


def test_learning_narrows_the_range_without_losing_its_promise() -> None:
    """A shop that has learnt gives a narrower range than the book alone."""
    learnt, book = try_out("maxwell", 300).forecast, try_out("maxwell", 0).forecast
    assert sum(learnt.widths) < 0.75 * sum(book.widths)
    assert sum(learnt.scores) < sum(book.scores)
