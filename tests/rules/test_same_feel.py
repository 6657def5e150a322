"""A pull at which a changed bed feels the same: what it takes, what is assumed, the membrane formula as witness."""

from __future__ import annotations

import math
import sys

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from rules.facts import Material, Span, Sport, Tension
from rules.physics_book import PhysicsMissing
from rules.same_feel import list_missing, match_feel
from rules.usual_bed import KnownBed, KnownSide

NYLON, POLYESTER = Material.SYNTHETIC_GUT, Material.POLYESTER
PATCH_CM = 3.25
"""Radius of the disc that presses on the middle of the bed."""
CM2_PER_IN2 = 6.4516


def bed(
    material: Material | None = NYLON,
    pull: float | None = None,
    head: float | None = None,
    pattern: tuple[int, int] | None = None,
    gauge: float | None = None,
) -> KnownBed:
    """Return what is known of one bed."""
    tension = None if pull is None else Tension(pull, "lb")
    return KnownBed(KnownSide(material, tension, gauge), KnownSide(), head, pattern)


def membrane_ratio(old: KnownBed, new: KnownBed) -> float:
    """Return by how much the pull must change for the same centre stiffness, worked out by hand from the membrane.

    k = 2 pi S / (ln(R/r0) + 1/2) with S = T sqrt(mains x crosses / area): the membrane equation with an even load on a
    disc (any text on the membrane). Nothing of the project's own model is used.
    """

    def stiffness_per_pull(known: KnownBed) -> float:
        assert known.head_in2 is not None
        assert known.pattern is not None
        area = known.head_in2 * CM2_PER_IN2
        density = math.sqrt(known.pattern[0] * known.pattern[1] / area)
        return density / (math.log(math.sqrt(area / math.pi) / PATCH_CM) + 0.5)

    return stiffness_per_pull(old) / stiffness_per_pull(new)


@settings(max_examples=25, deadline=None)
@given(
    changed=st.one_of(
        st.tuples(st.floats(85, 130), st.just((16, 19))),
        st.tuples(st.just(100.0), st.sampled_from([(14, 16), (14, 18), (16, 18), (16, 20), (18, 19), (18, 20)])),
    )
)
def test_the_membrane_formula_goes_the_same_way(changed: tuple[float, tuple[int, int]]) -> None:
    """A bigger head or an opener pattern wants more pull, as a membrane does, and by less than two and a half times it.

    The model asks for more change than the membrane: in a firm push the strings stretch, and that part of the feel
    hardly changes with the pull.
    """
    old, new = bed(pull=55, head=100, pattern=(16, 19)), bed(head=changed[0], pattern=changed[1])
    ratio = membrane_ratio(old, new)
    found = match_feel(old, new)
    assert found is not None
    change, by_formula = found.advice.mains.value - 55, 55 * (ratio - 1)
    if abs(by_formula) > 1:
        assert change * by_formula > 0
        assert abs(change) <= 2.5 * abs(by_formula) + 1
    assert found.advice.high.value - found.advice.low.value >= 4


def test_from_98_to_107_square_inches_by_hand() -> None:
    """Radius 14.19 and 14.82 cm: 1.0449 for the spread of strings times 1.0222 for the wider head: 55 to 58.7."""
    ratio = membrane_ratio(bed(pull=55, head=98, pattern=(16, 19)), bed(head=107, pattern=(16, 19)))
    assert 55 * ratio == pytest.approx(58.7, abs=0.1)
    found = match_feel(bed(pull=55, head=98, pattern=(16, 19)), bed(head=107, pattern=(16, 19)))
    assert found is not None
    assert found.advice.mains.value == pytest.approx(61, abs=1)


def test_polyester_after_nylon_goes_in_looser() -> None:
    """The trade strings polyester some pounds looser than nylon; head and pattern do not matter to that."""
    for head in (None, 95, 110):
        found = match_feel(bed(pull=55, head=head), bed(POLYESTER, head=head))
        assert found is not None
        assert 48 <= found.advice.mains.value < 55


def test_what_it_takes_is_named_in_order() -> None:
    """The old strings, their tension, the new strings; the frames only where they change or nothing else does."""
    nothing = KnownBed(KnownSide(), KnownSide())
    assert list_missing(nothing, nothing, other_frame=False) == ("old_strings", "old_tension", "new_strings")
    assert list_missing(bed(pull=55), bed(POLYESTER), other_frame=False) == ()
    assert list_missing(bed(pull=55), bed(POLYESTER), other_frame=True) == ("old_frame", "new_frame")
    assert list_missing(bed(pull=55), bed(), other_frame=False) == ("old_frame", "new_frame")
    assert list_missing(bed(pull=55, head=98), bed(head=107), other_frame=True) == ()
    assert list_missing(bed(pull=55, gauge=1.3), bed(gauge=1.25), other_frame=False) == ()
    assert list_missing(bed(pull=55, pattern=(16, 19)), bed(pattern=(18, 20)), other_frame=False) == ()


def test_of_another_sport_nothing_usual_is_assumed() -> None:
    """A squash head is no tennis head."""
    squash = KnownBed(KnownSide(NYLON, Tension(25, "lb")), KnownSide(), sport=Sport.SQUASH)
    assert list_missing(squash, bed(Material.MULTIFILAMENT), other_frame=False) == ("old_frame",)
    assert match_feel(squash, bed(Material.MULTIFILAMENT)) is None


def test_what_was_assumed_is_said() -> None:
    """Alike where one is known, usual where neither is, and the gauge too."""
    found = match_feel(bed(pull=55, pattern=(16, 19), gauge=1.25), bed(POLYESTER))
    assert found is not None
    told = " ".join(found.says)
    assert "as nobody said it: 100 square inches." in told
    assert "as it is known of one only: the pattern, the gauge." in told
    assert "starting point" in told
    assert "firm push" in found.matched
    assert found.source


def test_the_printed_range_wins_here_too() -> None:
    """Cut to what is printed, and said so."""
    found = match_feel(bed(pull=55, head=98), bed(head=110), Span(50, 58))
    assert found is not None
    assert found.advice.clipped
    assert found.advice.mains.value <= 58
    assert any("comes first" in says for says in found.says)


def test_the_range_ends_where_the_printed_one_does() -> None:
    """A start inside the printed range whose own range would leave it is cut there, and that is said."""
    found = match_feel(bed(pull=51, head=98), bed(head=98, pattern=(16, 19)), Span(50, 60))
    assert found is not None
    assert not found.advice.clipped
    assert found.advice.low.value == 50
    assert any("range ends" in says for says in found.says)


def test_hybrids_keep_their_sides() -> None:
    """Crosses pulled two pounds looser stay looser."""
    old = KnownBed(KnownSide(POLYESTER, Tension(50, "lb")), KnownSide(Material.MULTIFILAMENT, Tension(48, "lb")), 98)
    found = match_feel(old, KnownBed(KnownSide(POLYESTER), KnownSide(Material.MULTIFILAMENT), 105))
    assert found is not None
    assert found.advice.mains.value > found.advice.crosses.value > 48


def test_without_the_physics_extra_it_says_what_to_install(monkeypatch: pytest.MonkeyPatch) -> None:
    """A plain sentence, no traceback of an import."""
    monkeypatch.delitem(sys.modules, "rules.stringbed_net", raising=False)
    monkeypatch.setitem(sys.modules, "numpy", None)
    with pytest.raises(PhysicsMissing, match="pip install"):
        match_feel(bed(pull=55), bed(POLYESTER))


def test_an_unknown_old_bed_is_refused() -> None:
    """Without a tension there is nothing to match."""
    with pytest.raises(ValueError, match="old bed"):
        match_feel(bed(), bed(POLYESTER))
