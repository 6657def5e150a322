"""`job undo` says in the trade's words what was taken back, whatever it was."""

from __future__ import annotations

import shlex
from pathlib import Path
from typing import Any

import pytest
import yaml

from dialogue.counter.wording import read_phrases
from tests.assistant.in_process import Shell

TABLE = yaml.safe_load((Path(__file__).parent / "undone.yaml").read_text(encoding="utf8"))


@pytest.mark.parametrize("row", TABLE, ids=lambda row: row["do"][-1])
def test_what_was_taken_back_is_said_in_the_trades_words(row: dict[str, Any], shell: Shell, tag: str) -> None:
    """The last thing done is named with its owner; no word of the database is shown."""
    for words in row["do"]:
        assert shell(*shlex.split(words.format(tag=tag)), given=row.get("given", "")).code == 0
    ran = shell("job", "undo")
    assert ran.code == 0
    assert ran.out.splitlines() == row["undone"]


def test_every_kind_of_entry_has_words_for_its_taking_back() -> None:
    """A row of whatever table can be told of as added, removed and changed; of settings and links one word will do."""
    phrases = read_phrases()
    apart = {"audit_entry", "consultation", "setting", "string_job"}
    kinds = {key.removeprefix("screen.entity.") for key in phrases if key.startswith("screen.entity.")} - apart
    added = {"reading": ("baseline", "check")}
    missing = [
        f"undone.{kind}.{way}"
        for kind in kinds
        for way in ("removed", "changed", *added.get(kind, ("added",)))
        if f"undone.{kind}.{way}" not in phrases
    ]
    assert len(kinds) >= 9
    assert not missing
