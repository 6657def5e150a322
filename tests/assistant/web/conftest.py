"""Shops for the browser tests: one empty, one with the invented club in it."""

from __future__ import annotations

import shutil
from collections.abc import Iterator
from pathlib import Path

import pytest

from assistant.channels.web.shop import Shop
from tests.assistant.web.running_shop import Visitor, fill_shop, real_shop, running


@pytest.fixture(scope="session")
def filled(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A database with the invented club, to be copied."""
    path = tmp_path_factory.mktemp("club") / "club.sqlite3"
    fill_shop(path)
    return path


@pytest.fixture
def club(filled: Path, tmp_path: Path) -> Path:
    """A copy of the invented club's database."""
    return Path(shutil.copy(filled, tmp_path / "club.sqlite3"))


@pytest.fixture
def shop(club: Path) -> Iterator[Shop]:
    """The invented club, open."""
    with real_shop(club) as opened:
        yield opened


@pytest.fixture
def base(shop: Shop) -> Iterator[str]:
    """The address of a server of the invented club."""
    with running(shop) as address:
        yield address


@pytest.fixture
def visitor(base: str) -> Iterator[Visitor]:
    """Somebody at the kiosk."""
    with Visitor(base) as somebody:
        yield somebody


@pytest.fixture
def staff(base: str) -> Iterator[Visitor]:
    """Somebody of the staff, signed in."""
    with Visitor(base) as somebody:
        somebody.sign_in()
        yield somebody
