"""A baseline held against what the card leads to expect: asked back when it cannot be, silent when nothing is known."""

from __future__ import annotations

import sys
from typing import Any

import pytest

from dialogue.forecasts.fresh import bed_on_card, compare_with_estimate, doubt_baseline, estimate_baseline
from rules.facts import Kind, Reading
from rules.stringbed import CM2_PER_IN2
from rules.stringbed_book import Machine
from storage.rows import RacquetRow, StringJobRow

RACQUET = RacquetRow(head_size_in2=100, mains_count=16, crosses_count=19, sport="tennis")
STRINGS: dict[str, Any] = {"mains_material": "synthetic_gut", "mains_tension": 55, "mains_tension_unit": "lb"}
JOB = StringJobRow(racquet_id=1, machine="constant_pull", mains_gauge="1.30", **STRINGS)


def meant(value: float, kind: Kind, job: StringJobRow = JOB, racquet: RacquetRow = RACQUET) -> tuple[float, ...] | None:
    """Return what may have been meant by a baseline, or None where it is not asked back."""
    doubt = doubt_baseline(bed_on_card(job, racquet), (Reading((value,), kind),))
    return doubt.meant if doubt else None


@pytest.mark.parametrize(
    ("value", "kind", "fits"),
    [
        (38, Kind.STIFFNESS, None),
        (28, Kind.STIFFNESS, None),
        (83, Kind.STIFFNESS, (38,)),
        (3.8, Kind.STIFFNESS, (38,)),
        (380, Kind.STIFFNESS, (38,)),
        (15, Kind.POUNDS, (50,)),
        (25, Kind.POUNDS, (55.1,)),
        (5.5, Kind.POUNDS, (55,)),
        (620, Kind.FREQUENCY, None),
        (6200, Kind.FREQUENCY, (620,)),
        (0.5, Kind.STIFFNESS, ()),
        (97, Kind.DEFLECTION, None),
    ],
)
def test_slips_of_the_pen_are_asked_back(value: float, kind: Kind, fits: tuple[float, ...] | None) -> None:
    """Swapped digits, a lost or added point, fifteen for fifty, kilos for pounds; a deflection scale tells nothing."""
    found = meant(value, kind)
    if fits:
        assert found
        assert any(one == pytest.approx(fits[0], abs=0.1) for one in found)
    else:
        assert found == fits


def test_the_card_is_read_in_the_trades_units() -> None:
    """Head in square inches, gauge in millimetres, kilos stay kilos, a falling weight pulls constantly."""
    strings = {"mains_material": "polyester", "mains_tension": 24, "mains_tension_unit": "kg", "crosses_tension": 23}
    job = StringJobRow(racquet_id=1, machine="drop_weight", mains_gauge="16", crosses_gauge="1.25", **strings)
    bed = bed_on_card(job, RACQUET)
    assert bed is not None
    assert bed.head_cm2 == pytest.approx(100 * CM2_PER_IN2)
    assert (bed.mains.pull.value, bed.mains.pull.unit, bed.crosses.pull.unit) == (24, "kg", "lb")
    assert (bed.mains.gauge_mm, bed.crosses.gauge_mm) == (None, 1.25)
    assert bed.crosses.material == "polyester"
    assert bed.machine is Machine.CONSTANT_PULL
    assert bed.assumed_share == 0


def test_a_bare_card_doubts_less_and_another_sport_not_at_all() -> None:
    """A card without head, pattern and tension leaves more room; a bare card of another sport tells nothing."""
    bare = StringJobRow(racquet_id=1)
    assert meant(50, Kind.STIFFNESS) is not None
    assert meant(50, Kind.STIFFNESS, bare, RacquetRow()) is None
    assert meant(380, Kind.STIFFNESS, bare, RacquetRow())
    assert meant(380, Kind.STIFFNESS, bare, RacquetRow(sport="squash")) is None
    assert meant(380, Kind.STIFFNESS, JOB, RACQUET) is not None


def test_a_reading_without_a_baseline_stands_beside_an_estimate() -> None:
    """A range of what would be lost, by the square for a frequency; nothing where a scale or the tension is unknown."""
    found = compare_with_estimate(bed_on_card(JOB, RACQUET), Reading((27.0,), Kind.STIFFNESS))
    assert found is not None
    assert found.low < 38 < found.high
    assert found.least_percent < 100 * (1 - 27 / 38) < found.most_percent
    assert found.most_percent - found.least_percent > 15
    hertz = compare_with_estimate(bed_on_card(JOB, RACQUET), Reading((560.0,), Kind.FREQUENCY))
    assert hertz is not None
    assert hertz.most_percent == pytest.approx(100 * (1 - (560 / hertz.high) ** 2))
    assert compare_with_estimate(bed_on_card(JOB, RACQUET), Reading((41.0,), Kind.DEFLECTION)) is None
    assert compare_with_estimate(bed_on_card(JOB, RACQUET), Reading((41.0,))) is None
    untold = StringJobRow(racquet_id=1, mains_material="synthetic_gut")
    assert compare_with_estimate(bed_on_card(untold, RACQUET), Reading((27.0,), Kind.STIFFNESS)) is None
    high = compare_with_estimate(bed_on_card(JOB, RACQUET), Reading((60.0,), Kind.STIFFNESS))
    assert high is not None
    assert high.values()["least"] == high.values()["most"] == 0


def test_without_the_model_nothing_is_asked(monkeypatch: pytest.MonkeyPatch) -> None:
    """The check needs the physics extra; without it a baseline is kept as it was said."""
    for name in [name for name in sys.modules if name.split(".")[0] in {"numpy", "scipy"}]:
        monkeypatch.delitem(sys.modules, name)
    monkeypatch.delitem(sys.modules, "rules.stringbed_net", raising=False)
    for name in ("numpy", "scipy"):
        monkeypatch.setitem(sys.modules, name, None)
    assert meant(83, Kind.STIFFNESS) is None
    assert estimate_baseline(bed_on_card(JOB, RACQUET), Kind.STIFFNESS) is None
