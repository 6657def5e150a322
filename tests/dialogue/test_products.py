"""The shop's products found in what people say: by name, with a letter wrong, by a beginning; never in other words."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from dialogue.products import Product, find_mentions, in_materials, on_sides

SPIN = Product(name="Hollow Spin", material="polyester", gauge="1.25")
SOFT = Product(name="Hollow Soft", material="multifilament", gauge="1.30")
LINDEN = Product(name="Linden Classic", material="synthetic_gut", gauge="1.30")
TARN_17 = Product(name="Tarn 17", material="polyester", gauge="1.25")
TARN_18 = Product(name="Tarn 18", material="multifilament", gauge="1.15")
TOUR = Product(name="Tour", material="polyester")
SHOP = (SPIN, SOFT, LINDEN, TARN_17, TARN_18, TOUR)


@pytest.mark.parametrize(
    ("said", "unread", "meant"),
    [
        ("linden classic", (), [{LINDEN}]),
        ("the Linden Classic in the mains", (), [{LINDEN}]),
        ("lindenclassic at 52", (), [{LINDEN}]),
        ("linden clasic", (), [{LINDEN}]),
        ("lindn clasic", (), [{LINDEN}]),
        ("lynden klasik", (), []),
        ("hollow spin mains, hollow soft crosses", (), [{SPIN}, {SOFT}]),
        ("hollow spim", (), [{SPIN}]),
        ("hollow", ("hollow",), [{SPIN, SOFT}]),
        ("hollow", (), []),
        ("linden at 52", ("linden",), [{LINDEN}]),
        ("lindne at 52", ("lindne",), [{LINDEN}]),
        ("tarn 18", (), [{TARN_18}]),
        ("tarn 19", ("tarn",), [{TARN_17, TARN_18}]),
        ("tarn 1", (), []),
        ("tour", (), [{TOUR}]),
        ("your tours", (), []),
        ("hollow, spin it", (), []),
        ("poly at 52", (), []),
        ("", (), []),
    ],
)
def test_words_name_the_products_they_may_mean(said: str, unread: tuple[str, ...], meant: list[set[Product]]) -> None:
    """A slip of the finger still names the product; a beginning names all that begin so, where it is unread."""
    assert [set(mention.among) for mention in find_mentions(said, SHOP, unread)] == meant


def test_products_are_said_as_their_materials() -> None:
    """What is read instead is the material, with everything around it as it was."""
    said = "poly before, now hollow spin in the mains and linden classic across"
    text, placed = in_materials(said, find_mentions(said, SHOP))
    assert text == "poly before, now polyester in the mains and synthetic gut across"
    assert [(word, times, mention.among) for word, times, mention in placed] == [
        ("polyester", 0, (SPIN,)),
        ("synthetic gut", 0, (LINDEN,)),
    ]


def test_a_side_said_as_a_bare_material_loses_its_product() -> None:
    """Crosses that are to be as the mains get the mains' product."""
    both = {"mains": SPIN.to_json(), "crosses": SPIN.to_json()}
    assert on_sides(both, [("crosses_material", "natural_gut", None)]) == {"mains": SPIN.to_json()}
    assert on_sides({"mains": SPIN.to_json()}, [("crosses_material", "same_as_mains", None)]) == both
    assert on_sides({}, [("mains_material", "polyester", SPIN.to_json())]) == {"mains": SPIN.to_json()}


@given(st.text(max_size=60), st.lists(st.text(max_size=12), max_size=3))
def test_any_words_are_taken(said: str, names: list[str]) -> None:
    """Whatever is said or sold, mentions lie in the text, in order and apart."""
    products = [Product(name=name, material="polyester") for name in names]
    mentions = find_mentions(said, [*SHOP, *products], (said,))
    ends = [edge for mention in mentions for edge in mention.span]
    assert ends == sorted(ends)
    assert all(said[slice(*mention.span)] for mention in mentions)
    in_materials(said, mentions)
