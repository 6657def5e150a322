"""The command: what it opens and says, and how it ends."""

from __future__ import annotations

import os
import signal
import socket
import subprocess
import sys
import time
from pathlib import Path

import httpx
import pytest

from assistant.commands.serve import announce, listen
from tests.assistant.command import ROOT, run


def start(database: str, *words: str, **env: str) -> tuple[subprocess.Popen[str], str]:
    """Start the command and return it with its address."""
    process = subprocess.Popen(
        [sys.executable, "-m", "assistant", "serve", "--db", database, "--port", "0", *words],
        cwd=ROOT,
        stderr=subprocess.PIPE,
        text=True,
        env={**os.environ, **env},
    )
    assert process.stderr
    address = process.stderr.readline().removeprefix("Kiosk: ").strip()
    until = time.monotonic() + 30
    while time.monotonic() < until:
        try:
            httpx.get(address, timeout=5)
            break
        except httpx.TransportError:
            time.sleep(0.1)
    return process, address


@pytest.mark.parametrize("number", [signal.SIGINT, signal.SIGTERM])
def test_it_serves_on_this_machine_alone_until_it_is_stopped(tmp_path: Path, number: signal.Signals) -> None:
    """Loopback only, a clean end, no traceback."""
    process, address = start(f"sqlite:///{tmp_path}/new.sqlite3")
    assert address.startswith("http://127.0.0.1:")
    assert "When should I restring?" in httpx.get(address).text
    assert httpx.get(f"{address}board/", follow_redirects=True).status_code == 200
    process.send_signal(number)
    _, said = process.communicate(timeout=30)
    assert process.returncode == 0
    assert "Traceback" not in said
    assert "OPEN TO THE NETWORK" not in said


def test_a_taken_port_is_said_in_one_sentence(tmp_path: Path) -> None:
    """With what to do about it."""
    with socket.create_server(("127.0.0.1", 0)) as taken:
        port = str(taken.getsockname()[1])
        done = run("serve", "--db", f"sqlite:///{tmp_path}/new.sqlite3", "--port", port)
    assert done.returncode == 2
    assert "name another --port" in done.stderr
    assert "Traceback" not in done.stderr


def test_a_database_that_cannot_be_opened_ends_with_its_code(tmp_path: Path) -> None:
    """Four, as everywhere."""
    done = run("serve", "--db", f"sqlite:///{tmp_path}", "--port", "0")
    assert done.returncode == 4
    assert "Traceback" not in done.stderr


def test_a_short_secret_is_refused(tmp_path: Path) -> None:
    """It would sign nothing worth signing."""
    done = run("serve", "--db", f"sqlite:///{tmp_path}/new.sqlite3", "--port", "0", env={"COUNTERPULL_SECRET": "short"})
    assert done.returncode == 2
    assert "too short" in done.stderr


def test_an_open_address_is_said_aloud() -> None:
    """Who can come in, and that nothing is encrypted."""
    said = announce("0.0.0.0", 8080, board=True)  # noqa: S104 - nothing is opened
    assert "OPEN TO THE NETWORK" in said
    assert "sign-in page of the staff board" in said
    assert "Nothing is encrypted" in said
    assert "OPEN" not in announce("127.0.0.1", 8080, board=True)
    assert "OPEN" not in announce("::1", 8080, board=True)
    assert "http://[::1]:8080/" in announce("::1", 8080, board=True)
    assert "board" not in announce("127.0.0.1", 8080, board=False)


def test_it_listens_where_it_is_told() -> None:
    """And nowhere else."""
    with listen("127.0.0.1", 0) as listening:
        assert listening.getsockname()[0] == "127.0.0.1"
