"""`copy` moves a shop, and says plainly when it must not."""

from __future__ import annotations

from pathlib import Path

import pytest

from tests.assistant.in_process import Shell, open_shell


@pytest.fixture
def shell(tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Shell:
    """A shell with a database of its own."""
    return open_shell(tmp_path, monkeypatch, capsys)


def test_a_shop_is_moved_and_found_again(shell: Shell, tmp_path: Path) -> None:
    """The customer is found in the new database, the old one stays, and a second copy on top of it is refused."""
    new = f"sqlite:///{tmp_path / 'new.sqlite3'}"
    assert shell("customer", "add", "--name", "Maya Okoro", "--phone", "(202) 555-0143").code == 0
    copied = shell("copy", "--to", new, "--json")
    assert copied.code == 0
    assert copied.json["rows"]["customer"] == 1
    assert copied.json["total"] == sum(copied.json["rows"].values())
    for words in (("--db", new), ()):
        found = shell("customer", "find", "maya", "--json", *words)
        assert [hit["customer"]["name"] for hit in found.json["hits"]] == ["Maya Okoro"]
    again = shell("copy", "--to", new)
    assert (again.code, "is in use already; name an empty database" in again.err) == (2, True)


def test_a_file_that_is_not_there_is_not_made(shell: Shell, tmp_path: Path) -> None:
    """A slip of the pen in the address ends in a sentence, not in an empty copy."""
    ran = shell(
        "copy", "--from", f"sqlite:///{tmp_path / 'slip.sqlite3'}", "--to", f"sqlite:///{tmp_path / 'n.sqlite3'}"
    )
    assert (ran.code, "slip.sqlite3 is not there" in ran.err) == (3, True)
    assert not any((tmp_path / name).exists() for name in ("slip.sqlite3", "n.sqlite3"))
