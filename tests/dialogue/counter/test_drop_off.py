"""A racquet is taken in with all that was said, or nothing of it is kept."""

from __future__ import annotations

import datetime as dt
from dataclasses import replace
from typing import Any

import pytest

from dialogue.counter.bench import Strung, list_bench, log_strung, mark_ready
from dialogue.counter.counter import Counter
from dialogue.counter.drop_off import Frame, take_in
from dialogue.counter.imports import import_catalogue
from dialogue.counter.pickup import hand_over
from dialogue.counter.strings import Side, Strings, name_side
from storage.errors import NotFound
from tests.dialogue.counter.conftest import SYNTHETIC, TODAY, bring, drop_off, need, on, refused, tag_of


def stored(counter: Counter) -> tuple[int, int, int]:
    """Return how many customers, racquets and stringings are on record."""
    with counter.look() as unit:
        return len(unit.customers.all()), len(unit.racquets.all()), len(unit.jobs.all())


def test_a_new_customers_racquet_is_taken_in(counter: Counter) -> None:
    """Customer, frame, strings and promised day stand on record, and the job has a tag."""
    taken = bring(counter, promised_on=dt.date(2026, 5, 6))
    job, racquet = taken.job, taken.racquet
    assert job is not None
    assert (job.mains_material, job.mains_tension, job.mains_tension_unit) == ("synthetic_gut", 54, "lb")
    assert (job.crosses_material, job.crosses_tension) == ("synthetic_gut", 54)
    assert job.promised_on == dt.date(2026, 5, 6)
    assert (racquet.sport, racquet.tension_min_lb, racquet.tension_max_lb) == ("tennis", 48, 60)
    assert racquet.frame_notes == "4 May 2026: looked over with the customer, no damage seen (anna)."
    assert stored(counter) == (1, 1, 1)


def test_several_racquets_of_one_customer_are_taken_in_one_after_the_other(counter: Counter) -> None:
    """The second one names the customer on record."""
    first = bring(counter)
    second = bring(
        counter, customer_id=first.customer.id, new_customer=None, frame=Frame(nickname="blue frame", sport="tennis")
    )
    assert second.customer == first.customer
    assert stored(counter) == (1, 2, 2)
    assert [row.racquet for row in list_bench(counter).rows] == ["red frame", "blue frame"]


def test_a_crack_goes_to_a_person(counter: Counter) -> None:
    """The racquet is on record, no stringing is opened, and nobody calls the frame safe."""
    taken = bring(counter, frame_check="crack")
    assert (taken.job, taken.person) == (None, "frame_crack")
    assert stored(counter) == (1, 1, 0)
    assert taken.racquet.frame_notes is not None
    assert "a qualified stringer decides" in taken.racquet.frame_notes
    seen = bring(
        counter,
        customer_id=taken.customer.id,
        new_customer=None,
        racquet_id=taken.racquet.id,
        frame_check="crack",
        seen_by="Greta Oyelaran",
    )
    assert seen.job is not None
    assert seen.racquet.frame_notes is not None
    assert seen.racquet.frame_notes.count("\n") == 1
    assert "Greta Oyelaran" in seen.racquet.frame_notes


def test_worn_grommets_are_said(counter: Counter) -> None:
    """The job is opened, with a remark to show and change them first."""
    taken = bring(counter, frame_check="grommets_worn")
    assert taken.job is not None
    assert [remark.reason for remark in taken.remarks] == ["grommets_worn"]


@pytest.mark.parametrize(
    ("side", "refused_side"),
    [
        ({"mains": Side(material="polyester", tension=61)}, "mains_tension"),
        ({"mains": Side(material="polyester", tension=47)}, "mains_tension"),
        ({"mains": Side(material="polyester", tension=28, unit="kg")}, "mains_tension"),
        (
            {"mains": Side(material="polyester", tension=50), "crosses": Side(material="aramid", tension=62)},
            "crosses_tension",
        ),
    ],
)
def test_a_tension_outside_the_printed_range_is_refused(
    counter: Counter, side: dict[str, Any], refused_side: str
) -> None:
    """Nothing is kept; with the customer's wish on record it is."""
    wanted = Strings(**side)
    refusal = refused(take_in(counter, drop_off(strings=wanted)))
    assert (refusal.reason, refusal.fact) == ("outside_printed", refused_side)
    assert "48 to 60 lb" in counter.wording.remark(refusal)
    assert stored(counter) == (0, 0, 0)
    taken = bring(counter, strings=wanted, wish="Knows the risk, wants it harder all the same.")
    assert taken.job is not None
    assert taken.job.wish == "Knows the risk, wants it harder all the same."
    assert [remark.reason for remark in taken.remarks] == ["wish_recorded"]


@pytest.mark.parametrize(("tension", "unit"), [(48, "lb"), (60, "lb"), (27.2155, "kg"), (21.7724, "kg")])
def test_the_ends_of_the_printed_range_are_inside(counter: Counter, tension: float, unit: str) -> None:
    """48 and 60 lb in either unit (1 lbf = 0.45359237 kgf) are no refusal."""
    bring(counter, strings=Strings(mains=Side(material="polyester", tension=tension, unit=unit)))


def test_a_wish_opens_no_door_past_what_can_be_true(counter: Counter) -> None:
    """The rulebook's own limit, 15 to 90 lb, stands whatever is wished."""
    wanted = Strings(mains=Side(material="polyester", tension=120))
    refusal = refused(take_in(counter, drop_off(strings=wanted, wish="harder")))
    assert (refusal.reason, refusal.fact) == ("fact", "mains_tension")
    assert "15 to 90 lb" in counter.wording.remark(refusal)


def test_the_same_as_last_time_brings_back_both_sides(counter: Counter) -> None:
    """Strings, tensions and gauge come from the last stringing of that racquet."""
    hybrid = Strings(
        mains=Side(material="polyester", tension=50, gauge="1.25"), crosses=Side(material="natural_gut", tension=52)
    )
    first = bring(counter, strings=hybrid)
    need(log_strung(counter, Strung(tag=tag_of(first))))
    need(hand_over(counter, tag_of(first)))
    again = bring(
        counter,
        customer_id=first.customer.id,
        new_customer=None,
        racquet_id=first.racquet.id,
        frame=Frame(),
        strings=None,
        same_as="last",
    )
    assert first.job is not None
    assert again.job is not None
    for column in ("mains_material", "mains_tension", "mains_gauge", "crosses_material", "crosses_tension"):
        assert getattr(again.job, column) == getattr(first.job, column)
    assert (again.job.crosses_material, again.job.mains_gauge, again.job.strung_on) == ("natural_gut", "1.25", None)


def test_the_same_as_a_named_stringing(counter: Counter) -> None:
    """A second racquet can be strung like the first."""
    first = bring(counter)
    second = bring(
        counter,
        customer_id=first.customer.id,
        new_customer=None,
        frame=Frame(nickname="blue frame"),
        strings=None,
        same_as=tag_of(first),
    )
    assert second.job is not None
    assert second.job.mains_tension == 54
    with pytest.raises(NotFound):
        take_in(counter, drop_off(strings=None, same_as="ZZZZZZ"))


def test_a_product_of_the_catalogue_names_material_and_gauge(counter: Counter) -> None:
    """The customer may say the product; what may be several is asked."""
    need(import_catalogue(counter, b"product,material,gauge\nHollow Spin,poly,1.25\nHollow Soft,multi,1.30\n"))
    taken = bring(counter, strings=Strings(mains=name_side("hollow spin", 50)))
    assert taken.job is not None
    assert (taken.job.mains_material, taken.job.mains_gauge) == ("polyester", "1.25")
    assert taken.job.catalogue_product_id is not None
    unknown = refused(take_in(counter, drop_off(strings=Strings(mains=name_side("Marble Rope", 50)))))
    assert unknown.reason == "product_unknown"
    other = Strings(mains=Side(product="Hollow Soft", material="polyester", tension=50))
    assert refused(take_in(counter, drop_off(strings=other))).reason == "product_of_other_material"


def test_one_product_in_two_gauges_is_asked_about(counter: Counter) -> None:
    """The gauge decides where it is said."""
    need(import_catalogue(counter, b"product,material,gauge\nHollow Spin,poly,1.25\nHollow Spin,poly,1.30\n"))
    refusal = refused(take_in(counter, drop_off(strings=Strings(mains=name_side("Hollow Spin", 50)))))
    assert refusal.reason == "several_products"
    assert "Hollow Spin 1.25 mm" in counter.wording.remark(refusal)
    taken = bring(counter, strings=Strings(mains=name_side("Hollow Spin", 50, gauge="1,30 mm")))
    assert taken.job is not None
    assert taken.job.mains_gauge == "1.30"


BAD = [
    ("whose_racquet", {"new_customer": None}),
    ("strings_missing", {"strings": None}),
    ("material_missing", {"strings": Strings(mains=Side(tension=50))}),
    ("gauge_unreadable", {"strings": Strings(mains=Side(material="polyester", gauge="thin"))}),
    ("out_of_range", {"strings": Strings(mains=Side(material="polyester", gauge="16"))}),
    ("nothing_last_time", {"strings": None, "same_as": "last"}),
    ("promised_in_the_past", {"promised_on": dt.date(2026, 5, 3)}),
    ("out_of_range", {"promised_on": dt.date(2028, 5, 3)}),
    ("not_a_choice", {"frame_check": "fine"}),
    ("not_a_choice", {"frame": Frame(sport="croquet")}),
    ("out_of_range", {"frame": Frame(head_size_in2=141)}),
    ("out_of_range", {"frame": Frame(mains_count=3)}),
    ("out_of_range", {"frame": Frame(tension_max_lb=float("nan"))}),
    ("range_upside_down", {"frame": Frame(tension_min_lb=60, tension_max_lb=50)}),
    ("fact", {"strings": Strings(mains=Side(material="spaghetti"))}),
    ("too_long", {"notes": "x" * 501}),
]


@pytest.mark.parametrize(("reason", "parts"), BAD)
def test_what_cannot_be_is_refused_and_nothing_kept(counter: Counter, reason: str, parts: dict[str, Any]) -> None:
    """One bad part refuses the whole drop-off with a sentence of its own."""
    refusal = refused(take_in(counter, drop_off(**parts)))
    assert refusal.reason == reason
    assert counter.wording.remark(refusal)
    assert refusal.to_dict()["reason"] == reason
    assert stored(counter) == (0, 0, 0)


def test_the_largest_elliptical_head_is_the_end_of_the_range(counter: Counter) -> None:
    """140.06 square inches is the ellipse in 39.4 x 29.2 cm of the ITF's Rules of Tennis, Appendix II."""
    ellipse = 3.141592653589793 / 4 * (39.4 / 2.54) * (29.2 / 2.54)
    assert round(ellipse, 2) == 140.06
    bring(counter, frame=Frame(head_size_in2=140.06))


def test_a_racquet_on_the_bench_is_not_taken_in_twice(counter: Counter) -> None:
    """The answer names the tag it lies under."""
    taken = bring(counter)
    again = drop_off(customer_id=taken.customer.id, new_customer=None, racquet_id=taken.racquet.id)
    refusal = refused(take_in(counter, again))
    assert refusal.reason == "already_on_the_bench"
    assert tag_of(taken) in counter.wording.remark(refusal)


def test_somebody_elses_racquet_is_refused(counter: Counter) -> None:
    """A racquet goes with its owner."""
    maya = bring(counter)
    other = bring(counter, new_customer=replace(drop_off().new_customer, name="Tobias Wren"))
    wrong = drop_off(customer_id=other.customer.id, new_customer=None, racquet_id=maya.racquet.id)
    assert refused(take_in(counter, wrong)).reason == "not_their_racquet"


def test_the_bench_stands_by_promised_day(counter: Counter) -> None:
    """The first promised comes first, those nobody promised last, and fetched ones are gone."""
    late = bring(counter, promised_on=dt.date(2026, 5, 9))
    soon = bring(counter, new_customer=replace(drop_off().new_customer, name="Bo"), promised_on=dt.date(2026, 5, 5))
    open_end = bring(counter, new_customer=replace(drop_off().new_customer, name="Ines"))
    rows = list_bench(counter).rows
    assert [row.tag for row in rows] == [tag_of(soon), tag_of(late), tag_of(open_end)]
    assert [row.days_left for row in rows] == [1, 5, None]
    assert [row.days_left for row in list_bench(on(counter, TODAY + dt.timedelta(days=3))).rows] == [-2, 2, None]
    need(log_strung(counter, Strung(tag=tag_of(soon))))
    need(mark_ready(counter, tag_of(soon)))
    need(hand_over(counter, tag_of(soon)))
    assert tag_of(soon) not in [row.tag for row in list_bench(counter).rows]


def test_all_of_one_turn_joins_one_unit_of_work(counter: Counter) -> None:
    """Inside an open unit nothing is kept until whoever opened it keeps it."""
    with counter.store.unit("anna") as unit:
        need(take_in(counter.within(unit), drop_off()))
    assert stored(counter) == (0, 0, 0)
    with counter.store.unit("anna") as unit:
        need(take_in(counter.within(unit), drop_off(strings=SYNTHETIC)))
        unit.commit()
    assert stored(counter) == (1, 1, 1)
