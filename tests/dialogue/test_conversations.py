"""Whole conversations, from what people say to what is asked, known, decided and stored."""

from __future__ import annotations

import pytest

from storage.database import Store
from storage.rows import StringJobRow
from tests.dialogue.scripts import Script, build_conversation, differences, open_test_store, play, read_scripts, seed


@pytest.mark.parametrize("script", list(read_scripts()), ids=str)
def test_a_conversation_goes_as_written(script: Script) -> None:
    """Every turn asks, says, knows and decides what the script expects, and the last one checks facts and decision."""
    last = script.data["turns"][-1]
    assert "facts" in last, "a script ends in checked facts"
    assert "decision" in last, "a script ends in a checked decision"
    with open_test_store() as store:
        seed(store, script.data.get("record", []), script.data.get("catalogue"))
        conversation = build_conversation(store, script.data.get("own"))
        for turn, reply in play(script.data, conversation):
            assert not differences(turn, reply), f"at {turn['say']!r}"
        _check_stored(script, store)


def _check_stored(script: Script, store: Store) -> None:
    """Compare how many consultations, customers, readings and collected racquets there are with what is expected."""
    expected = script.data.get("stored", {})
    with store.view() as unit:
        found = {
            "consultations": len(unit.consultations.all()),
            "customers": len(unit.customers.all()),
            "racquets": len(unit.racquets.all()),
            "readings": len(unit.readings.all()),
            "jobs": len(unit.jobs.all()),
            "collected": sum(job.status == "collected" for job in unit.jobs.all()),
            "strung": sum(job.status == "strung" for job in unit.jobs.all()),
            "products": [job.mains_product for job in unit.jobs.all()],
            "strings": [_strings(job) for job in unit.jobs.all()],
            "frames": [[row.head_size_in2, row.mains_count, row.crosses_count] for row in unit.racquets.all()],
            "wishes": [job.wish for job in unit.jobs.all() if job.wish],
            "reached": [f"{who.email} {who.phone}" for who in unit.customers.all() if who.consent_to_contact],
        }
        notes = [job.notes for job in unit.jobs.all() if job.notes]
    assert {name: found[name] for name in expected if name != "notes"} == {
        name: value for name, value in expected.items() if name != "notes"
    }
    if "notes" in expected:
        assert len(notes) == len(expected["notes"])
        assert all(part in note for part, note in zip(expected["notes"], notes, strict=True))


def _strings(job: StringJobRow) -> str:
    """Return both sides of a stringing in one line: product or material, gauge and tension."""
    sides = (
        (job.mains_product or job.mains_material, job.mains_gauge, job.mains_tension),
        (job.crosses_product or job.crosses_material, job.crosses_gauge, job.crosses_tension),
    )
    return " / ".join(" ".join(str(part) for part in side if part is not None) for side in sides)


def test_there_are_conversations_of_many_kinds() -> None:
    """An empty folder would pass every script."""
    assert len(list(read_scripts())) >= 25
