"""Several workers on one socket: one shop for the customer, whoever takes the turn."""

from __future__ import annotations

import os
import re
import signal
import time
from collections.abc import Iterator
from pathlib import Path

import httpx
import psutil
import pytest

from tests.assistant.command import run
from tests.assistant.web.test_serve_command import start

WORKERS = 3


@pytest.fixture
def served(tmp_path: Path) -> Iterator[tuple[psutil.Process, str]]:
    """A running server with its workers, and its address."""
    process, address = start(f"sqlite:///{tmp_path}/new.sqlite3", "--workers", str(WORKERS))
    try:
        yield psutil.Process(process.pid), address
    finally:
        process.send_signal(signal.SIGTERM)
        _, said = process.communicate(timeout=30)
        assert process.returncode == 0
        assert "Traceback" not in said


def test_any_worker_takes_any_turn(served: tuple[psutil.Process, str]) -> None:
    """Each turn comes on a connection of its own, until every worker has taken some; the talk goes on as one."""
    process, address = served
    before = {child.pid: sum(child.cpu_times()[:2]) for child in process.children()}
    for _ in range(4):
        cookies: dict[str, str] = {}
        page = _ask(address, cookies)
        for text in ("when should I restring?", "just for fun", "twice a week", "full bed of synthetic gut"):
            page = _ask(f"{address}talk", cookies, text=text, token=_token(page))
        page = _ask(f"{address}talk", cookies, text="strung on 1 November 2026", token=_token(page))
        assert "every six months" in page
    after = {child.pid: sum(child.cpu_times()[:2]) for child in process.children()}
    assert len([pid for pid in before if after[pid] > before[pid]]) > 1


def test_a_worker_that_is_killed_is_replaced(served: tuple[psutil.Process, str]) -> None:
    """Nobody at a kiosk has to know."""
    process, address = served
    time.sleep(5.5)  # one that dies younger than five seconds is taken for one that cannot live
    first = {child.pid for child in process.children()}
    os.kill(min(first), signal.SIGKILL)
    until = time.monotonic() + 30
    while time.monotonic() < until:
        now = {child.pid for child in process.children() if child.status() != psutil.STATUS_ZOMBIE}
        if len(now) == WORKERS and now != first:
            break
        time.sleep(0.1)
    assert len(now) == WORKERS
    assert len(now - first) == 1
    assert "When should I restring?" in httpx.get(address).text


def test_workers_end_with_the_one_that_looks_after_them(tmp_path: Path) -> None:
    """Even where that one is killed: an orphan would keep the port."""
    process, address = start(f"sqlite:///{tmp_path}/new.sqlite3", "--workers", str(WORKERS))
    children = psutil.Process(process.pid).children()
    assert len(children) == WORKERS
    assert httpx.get(address).status_code == 200
    process.kill()
    process.communicate(timeout=30)
    _, left = psutil.wait_procs(children, timeout=30)
    assert not left


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["--workers", "0"], "give 1 to"),
        (["--workers", "1000"], "give 1 to"),
        (["--workers", "2", "--db", "sqlite://"], "Workers share one database"),
    ],
)
def test_workers_that_cannot_be_are_refused(words: list[str], says: str) -> None:
    """In a sentence, before anything is opened."""
    done = run("serve", "--port", "0", *words)
    assert done.returncode == 2
    assert says in done.stderr
    assert "Traceback" not in done.stderr


def _token(page: str) -> str:
    found = re.search(r'name="token" value="([^"]+)"', page)
    assert found
    return found[1]


def _ask(address: str, cookies: dict[str, str], **fields: str) -> str:
    """Ask on a connection of its own, keeping the cookie as a browser does."""
    headers = {"X-Part": "1", "Cookie": "; ".join(f"{name}={value}" for name, value in cookies.items())}
    with httpx.Client(headers=headers, timeout=60) as client:
        answer = client.post(address, data=fields) if fields else client.get(address)
    assert answer.status_code == 200
    cookies.update(answer.cookies)
    return answer.text
