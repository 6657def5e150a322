"""A backup is whole or is none, and putting one back never loses what was there."""

from __future__ import annotations

import datetime as dt
import sqlite3
import stat
import threading
from contextlib import closing
from pathlib import Path

import pytest

from storage import backup
from storage.backup import back_up, backups, check, restore
from storage.database import Store, open_store
from storage.errors import BackupRefused, NotFound, StorageError
from tests.storage.conftest import Clock, bring_racquet


@pytest.fixture
def folder(tmp_path: Path) -> Path:
    """Where backups go."""
    return tmp_path / "backups"


def names(path: Path) -> list[str]:
    """Return the names of all customers in a database file, read without this project's code."""
    with closing(sqlite3.connect(path)) as connection:
        return [name for (name,) in connection.execute("SELECT name FROM customer ORDER BY id")]


def test_a_backup_holds_every_row_and_is_complete_by_itself(shop: Store, folder: Path, clock: Clock) -> None:
    """A backup holds every row and is complete by itself."""
    bring_racquet(shop, "Marlo Fenwick")
    made = back_up(shop, folder, clock())
    assert names(made.path) == ["Marlo Fenwick"]
    assert (made.rows["customer"], made.rows["string_job"], made.rows["audit_entry"]) == (1, 1, 3)
    assert made == check(made.path)
    assert [part.name for part in folder.iterdir()] == [made.path.name]
    assert stat.S_IMODE(made.path.stat().st_mode) == 0o600


def test_a_memory_database_can_be_backed_up_too(folder: Path, clock: Clock) -> None:
    """A memory database can be backed up too."""
    with open_store("sqlite://", clock=clock) as store:
        bring_racquet(store, "Marlo Fenwick")
        assert names(back_up(store, folder, clock()).path) == ["Marlo Fenwick"]


def test_a_backup_beside_a_writer_is_whole(shop: Store, folder: Path, clock: Clock) -> None:
    """Customer, racquet and stringing are written at once, so a whole copy holds as many of each."""
    done = threading.Event()

    def write() -> None:
        while not done.is_set():
            bring_racquet(shop)

    writer = threading.Thread(target=write)
    writer.start()
    try:
        made = [back_up(shop, folder, clock()) for _ in range(5)]
    finally:
        done.set()
        writer.join()
    for one in made:
        assert one.rows["customer"] == one.rows["racquet"] == one.rows["string_job"]
    assert made[-1].rows["customer"] > made[0].rows["customer"]


def test_only_the_newest_backups_are_kept_and_nothing_else_is_touched(shop: Store, folder: Path, clock: Clock) -> None:
    """Only the newest backups are kept and nothing else is touched."""
    folder.mkdir()
    (folder / "notes.sqlite3").write_text("the shop's own")
    made = [back_up(shop, folder, clock(), keep=3).path for _ in range(5)]
    assert backups(folder) == tuple(made[:1:-1])
    assert (folder / "notes.sqlite3").exists()
    assert back_up(shop, folder, clock(), keep=0).path.exists()


@pytest.mark.parametrize("back", [dt.timedelta(0), dt.timedelta(hours=1), dt.timedelta(days=400)])
def test_a_backup_made_with_the_clock_set_back_is_the_newest(
    shop: Store, folder: Path, clock: Clock, back: dt.timedelta
) -> None:
    """By its moment it would be the oldest, and the first to be thrown away."""
    for _ in range(3):
        made = back_up(shop, folder, clock(), keep=3)
    bring_racquet(shop, "Marlo Fenwick")
    later = back_up(shop, folder, clock.now - back, keep=3)
    assert backups(folder)[0] == later.path
    assert made.path in backups(folder)
    assert len(backups(folder)) == 3
    assert names(later.path) == ["Marlo Fenwick"]


def test_a_file_of_the_shops_own_beside_the_backups_hinders_none(shop: Store, folder: Path, clock: Clock) -> None:
    """Its name looks like a backup's and is none."""
    folder.mkdir()
    (folder / "counterpull-zz.sqlite3").write_text("the shop's own")
    assert back_up(shop, folder, clock()).path in backups(folder)


def test_a_backup_that_does_not_match_is_not_kept(
    shop: Store, folder: Path, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A backup that does not match is not kept."""
    kept = back_up(shop, folder, clock())
    monkeypatch.setattr(backup, "_copy_open", lambda _, part: part.write_bytes(kept.path.read_bytes()) and {})
    with pytest.raises(BackupRefused, match="does not hold"):
        back_up(shop, folder, clock(), keep=1)
    assert list(folder.iterdir()) == [kept.path]


def test_a_backup_that_cannot_be_written_says_so(shop: Store, tmp_path: Path, clock: Clock) -> None:
    """A backup that cannot be written says so."""
    blocked = tmp_path / "file"
    blocked.write_text("in the way")
    with pytest.raises(BackupRefused, match="cannot be written") as caught:
        back_up(shop, blocked, clock())
    assert isinstance(caught.value, StorageError)
    assert caught.value.reason == "unwritable"


def test_a_database_on_a_server_is_left_to_the_servers_tools(postgresql: str, folder: Path, clock: Clock) -> None:
    """A database on a server is left to the servers tools."""
    with open_store(postgresql) as store, pytest.raises(BackupRefused, match="pg_dump"):
        back_up(store, folder, clock())
    with pytest.raises(BackupRefused) as caught:
        restore(postgresql, folder / "none", clock())
    assert caught.value.reason == "server"


def test_restoring_brings_back_what_was_and_keeps_what_is(shop: Store, path: Path, folder: Path, clock: Clock) -> None:
    """Restoring brings back what was and keeps what is."""
    first = bring_racquet(shop, "Marlo Fenwick").customer
    made = back_up(shop, folder, clock())
    second = bring_racquet(shop, "Tobias Ashgrove").customer
    done = restore(f"sqlite:///{path}", made.path, clock())
    assert done.backup == made
    assert names(done.former) == ["Marlo Fenwick", "Tobias Ashgrove"]
    assert stat.S_IMODE(done.former.stat().st_mode) == 0o600
    with shop.view() as unit:
        assert unit.customers.all() == (first,)
        with pytest.raises(NotFound):
            unit.customers.get(second.id)
    bring_racquet(shop, "Juno Vantongeren")
    back = restore(f"sqlite:///{path}", done.former, clock())
    assert names(path) == ["Marlo Fenwick", "Tobias Ashgrove"]
    assert names(back.former) == ["Marlo Fenwick", "Juno Vantongeren"]


def test_restoring_where_nothing_is_makes_a_database(shop: Store, tmp_path: Path, folder: Path, clock: Clock) -> None:
    """Restoring where nothing is makes a database."""
    bring_racquet(shop, "Marlo Fenwick")
    made = back_up(shop, folder, clock())
    target = tmp_path / "new.sqlite3"
    assert restore(f"sqlite:///{target}", made.path, clock()).former is None
    assert names(target) == ["Marlo Fenwick"]
    assert stat.S_IMODE(target.stat().st_mode) == 0o600


def test_restoring_without_an_address_goes_to_the_users_data_folder(
    shop: Store, tmp_path: Path, folder: Path, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Restoring without an address goes to the users data folder."""
    monkeypatch.setenv("XDG_DATA_HOME", str(tmp_path / "data"))
    bring_racquet(shop, "Marlo Fenwick")
    restore(None, back_up(shop, folder, clock()).path, clock())
    with open_store() as store, store.view() as unit:
        assert [row.name for row in unit.customers.all()] == ["Marlo Fenwick"]


def test_a_damaged_database_is_moved_aside_and_replaced(shop: Store, path: Path, folder: Path, clock: Clock) -> None:
    """A damaged database is moved aside and replaced."""
    bring_racquet(shop, "Marlo Fenwick")
    made = back_up(shop, folder, clock())
    shop.close()
    path.write_bytes(b"coffee" * 3000)
    done = restore(f"sqlite:///{path}", made.path, clock())
    assert done.former.read_bytes() == b"coffee" * 3000
    assert names(path) == ["Marlo Fenwick"]


@pytest.mark.parametrize("page", [0, 1, 9])
def test_a_damaged_backup_is_refused_and_nothing_changes(
    shop: Store, path: Path, folder: Path, clock: Clock, page: int
) -> None:
    """A damaged backup is refused and nothing changes."""
    bring_racquet(shop, "Marlo Fenwick")
    made = back_up(shop, folder, clock())
    bring_racquet(shop, "Tobias Ashgrove")
    content = bytearray(made.path.read_bytes())
    content[page * 4096 : (page + 1) * 4096] = b"\xff" * 4096
    made.path.write_bytes(content)
    with pytest.raises(BackupRefused) as caught:
        restore(f"sqlite:///{path}", made.path, clock())
    assert caught.value.reason == "damaged"
    assert names(path) == ["Marlo Fenwick", "Tobias Ashgrove"]
    assert len(list(path.parent.glob("*before-restore*"))) == 0


def test_a_cut_newer_foreign_or_missing_backup_is_refused(shop: Store, path: Path, folder: Path, clock: Clock) -> None:
    """A cut newer foreign or missing backup is refused."""
    bring_racquet(shop, "Marlo Fenwick")
    made = back_up(shop, folder, clock()).path
    cut, newer, foreign = (folder / name for name in ("cut.sqlite3", "newer.sqlite3", "foreign.sqlite3"))
    cut.write_bytes(made.read_bytes()[:-4096])
    newer.write_bytes(made.read_bytes())
    with closing(sqlite3.connect(newer)) as connection:
        connection.execute("UPDATE alembic_version SET version_num = '9999'")
        connection.commit()
    with closing(sqlite3.connect(foreign)) as connection:
        connection.execute("CREATE TABLE songs (title TEXT)")
    refusals = {}
    for one in (cut, newer, foreign, folder / "missing.sqlite3"):
        with pytest.raises(BackupRefused) as caught:
            restore(f"sqlite:///{path}", one, clock())
        refusals[one.stem] = caught.value.reason
        assert str(one) in str(caught.value)
    assert refusals == {"cut": "damaged", "newer": "newer", "foreign": "foreign", "missing": "missing"}
    assert names(path) == ["Marlo Fenwick"]


def test_the_database_is_no_backup_of_itself(shop: Store, path: Path, clock: Clock) -> None:
    """The database is no backup of itself."""
    bring_racquet(shop, "Marlo Fenwick")
    with pytest.raises(BackupRefused, match="is the database itself"):
        restore(f"sqlite:///{path}", path, clock())


def test_a_database_in_the_middle_of_a_write_is_not_overwritten(
    shop: Store, path: Path, folder: Path, clock: Clock, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A database in the middle of a write is not overwritten."""
    monkeypatch.setattr(backup, "BUSY_MS", 100)
    bring_racquet(shop, "Marlo Fenwick")
    made = back_up(shop, folder, clock())
    bring_racquet(shop, "Tobias Ashgrove")
    with closing(sqlite3.connect(path, isolation_level=None)) as other:
        other.execute("BEGIN IMMEDIATE")
        with pytest.raises(BackupRefused, match="close the other programs"):
            restore(f"sqlite:///{path}", made.path, clock())
    assert names(path) == ["Marlo Fenwick", "Tobias Ashgrove"]


def test_backups_are_listed_newest_first(shop: Store, folder: Path) -> None:
    """Backups are listed newest first."""
    moments = [dt.datetime(2026, month, 1, tzinfo=dt.UTC) for month in (1, 2, 12)]
    made = [back_up(shop, folder, moment).path for moment in moments]
    assert backups(folder) == tuple(reversed(made))
