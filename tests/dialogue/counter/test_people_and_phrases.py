"""One customer's data goes out or away whole, PINs are hashed, and every phrase is there."""

from __future__ import annotations

import datetime as dt
import re
from pathlib import Path

import pytest

import dialogue.counter
from dialogue.counter.counter import Counter
from dialogue.counter.history import show_history
from dialogue.counter.limits import read_limits
from dialogue.counter.outcomes import Outcome, Term, as_json
from dialogue.counter.privacy import erase_customer, export_customer, name_customer
from dialogue.counter.staff import add_staff, list_staff, retire_staff, verify_pin
from dialogue.counter.wording import placeholders, read_phrases
from dialogue.errors import PhraseMissing
from storage.errors import NotFound
from tests.dialogue.counter.conftest import MAYA, bring, need, refused, tag_of

CODE = Path(dialogue.counter.__file__).parent


def test_an_erased_customer_leaves_the_books_and_no_name(counter: Counter, collected: str) -> None:
    """Stringing, reading and decision stay as nobody's."""
    customer = need(name_customer(counter, "maya okoro"))
    export = export_customer(counter, customer.id).to_dict()
    assert (len(export["racquets"]), len(export["jobs"]), len(export["readings"])) == (1, 1, 1)
    erased = erase_customer(counter, customer.id)
    assert (erased.racquets_kept, erased.jobs_kept) == (1, 1)
    with pytest.raises(NotFound):
        name_customer(counter, "maya okoro")
    history = show_history(counter, collected)
    assert history.history.customer is None
    assert history.history.jobs[0].readings[0].values == (38,)
    assert "Maya" not in str(as_json(history))


def test_one_customer_is_named_by_number_name_or_refused(counter: Counter) -> None:
    """Several of a name are never taken for one."""
    first = bring(counter)
    bring(counter, new_customer=MAYA)
    assert need(name_customer(counter, f"#{first.customer.id}")).id == first.customer.id
    assert need(name_customer(counter, tag_of(first))).id == first.customer.id
    refusal = refused(name_customer(counter, "Maya Okoro"))
    assert refusal.reason == "several_customers"
    assert "#1 Maya Okoro +12025550143, #2 Maya Okoro" in counter.wording.remark(refusal)


def test_a_pin_is_hashed_and_checked(counter: Counter) -> None:
    """Nobody can read it back; a wrong one, an unknown name and a retired person are turned away."""
    need(add_staff(counter, "Anna", "owner", "4711"))
    with counter.look() as unit:
        stored = unit.staff.named("Anna")
    assert stored is not None
    assert stored.pin_hash.startswith("$argon2id$")
    assert "4711" not in stored.pin_hash
    assert verify_pin(counter, "Anna", "4711").welcome
    # Half a letter, as a shell may hand one in.
    assert not verify_pin(counter, "Anna", "4711\udfbe").welcome
    assert not verify_pin(counter, "Anna", "4712").welcome
    assert not verify_pin(counter, "Nobody", "0000").welcome
    need(add_staff(counter, "Anna", "stringer", "123456"))
    assert [(row.name, row.role) for row in list_staff(counter).staff] == [("Anna", "stringer")]
    retire_staff(counter, "Anna")
    assert not verify_pin(counter, "Anna", "123456").welcome
    assert list_staff(counter).staff == ()
    for pin in ("123", "abcd", "1" * 13, ""):
        assert refused(add_staff(counter, "Ben", "front", pin)).reason == "pin_form"
    assert refused(add_staff(counter, "Ben", "captain", "1234")).reason == "not_a_choice"
    with pytest.raises(NotFound):
        retire_staff(counter, "Ben")


def test_every_refusal_in_the_code_has_its_sentence() -> None:
    """Reasons are found in the code, sentences in refused.yaml: neither without the other."""
    source = "\n".join(path.read_text("utf-8") for path in CODE.glob("*.py"))
    source += "\n".join(path.read_text("utf-8") for path in (CODE.parent / "forecasts").glob("*.py"))
    source += "\n".join(path.read_text("utf-8") for path in (CODE.parents[1] / "assistant" / "commands").glob("*.py"))
    used = set(re.findall(r'(?:refuse\(\s*|reason=|reason = )"([a-z_]+)"', source))
    sentences = {key.removeprefix("refused.") for key in read_phrases() if key.startswith("refused.")}
    assert used - sentences == set()
    # What is missing is named by the fact: f"feel_needs.{fact}" speaks for the whole group.
    groups = set(re.findall(r'f"([a-z_]+)\.\{', source))
    assert {key for key in sentences if f'"{key}"' not in source and key.split(".")[0] not in groups} == set()


def test_a_phrase_takes_its_values_by_their_kind(counter: Counter) -> None:
    """Days in words, terms of the trade, numbers without needless zeros, lists with commas; one thing is one."""
    wording = counter.wording
    assert wording.value(dt.date(2026, 9, 4)) == "4 September 2026"
    assert wording.value(Term("synthetic_gut")) == "synthetic gut"
    assert wording.value(54.0) == "54"
    assert wording.value([Term("polyester"), 1.25]) == "polyester, 1.25"
    assert wording.say("screen.bench_readings", n=1) == "1 reading"
    assert wording.say("screen.bench_readings", n=2) == "2 readings"
    with pytest.raises(PhraseMissing):
        wording.say("screen.no_such_phrase")
    with pytest.raises(PhraseMissing):
        wording.say("hand_over.label")
    assert placeholders("{a} and {b}") == {"a", "b"}


def test_every_choice_has_its_words() -> None:
    """States, roles, verdicts and frame checks are all shown in words."""
    phrases = read_phrases()
    for check in read_limits()["choices"]["frame_check"]:
        assert f"frame.{check}" in phrases
    for name in ("received", "strung", "ready", "collected", "cancelled"):
        assert f"screen.status.{name}" in phrases
    for kind in ("deflection", "stiffness", "pounds", "frequency", "unnamed"):
        assert {f"hand_over.baseline_{kind}", f"label.baseline_{kind}", f"screen.kind.{kind}"} <= set(phrases)


def test_every_answer_is_json(counter: Counter, strung: str) -> None:
    """An outcome holds nothing that JSON cannot say."""
    import json  # noqa: PLC0415

    history = show_history(counter, strung)
    assert json.loads(json.dumps(history.to_dict())) == history.to_dict()
    assert issubclass(type(history), Outcome)
