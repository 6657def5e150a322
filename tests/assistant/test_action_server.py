"""The action server answers calls of the open protocol as rasa_sdk's own server app does."""

from __future__ import annotations

import json
import os
import socket
import subprocess
import sys
import time
import urllib.error
import urllib.request
from collections.abc import Iterator
from pathlib import Path
from typing import Any

import pytest

from dialogue.catalogue import load_domain
from dialogue.tracker import Talk
from tests.assistant.command import ROOT, TODAY, run

TOKEN = "counter-token"  # noqa: S105 - made up for the test
FACTS = {
    "level": "recreational",
    "plays_per_week": 3,
    "mains_material": "synthetic_gut",
    "crosses_material": "synthetic_gut",
    "strung_on": "2026-08-31",
}


def _free_port() -> int:
    with socket.socket() as probe:
        probe.bind(("127.0.0.1", 0))
        return int(probe.getsockname()[1])


def _call(port: int, path: str, body: bytes | None = None, token: str | None = TOKEN) -> tuple[int, Any]:
    headers = {"Content-Type": "application/json"} | ({"Authorization": f"Bearer {token}"} if token else {})
    request = urllib.request.Request(f"http://127.0.0.1:{port}{path}", data=body, headers=headers)
    try:
        with urllib.request.urlopen(request, timeout=10) as answer:  # noqa: S310 - loopback
            return answer.status, json.loads(answer.read())
    except urllib.error.HTTPError as error:
        return error.code, json.loads(error.read())


def _serve(words: list[str], port: int) -> subprocess.Popen[bytes]:
    server = subprocess.Popen(
        [sys.executable, *words],
        cwd=ROOT,
        env={**os.environ, "COUNTERPULL_ACTIONS_TOKEN": TOKEN},
        stdout=subprocess.DEVNULL,
        stderr=subprocess.DEVNULL,
    )
    for _ in range(200):
        try:
            _call(port, "/health")
        except OSError:
            time.sleep(0.1)
        else:
            return server
    server.kill()
    raise AssertionError("the server did not start")


@pytest.fixture(scope="module")
def servers(tmp_path_factory: pytest.TempPathFactory) -> Iterator[tuple[int, int]]:
    """Start our server and rasa_sdk's own, each on a database of its own."""
    folder = tmp_path_factory.mktemp("actions")
    ours, theirs = _free_port(), _free_port()
    started = [
        _serve(["-m", "assistant", "actions", "--port", str(ours), "--db", f"sqlite:///{folder}/ours.sqlite3"], ours),
        _serve(
            ["-m", "tests.assistant.reference_action_server", f"sqlite:///{folder}/theirs.sqlite3", str(theirs)],
            theirs,
        ),
    ]
    yield ours, theirs
    for server in started:
        server.terminate()
        server.wait(10)


def _body(action: str) -> bytes:
    return json.dumps(_request(action), default=dict).encode()


def _request(action: str) -> dict[str, Any]:
    domain = load_domain()
    talk = Talk("contract", domain.initial)
    talk.apply([{"event": "active_loop", "name": "consultation_form", "timestamp": None}])
    talk.apply({"event": "slot", "name": name, "value": value, "timestamp": None} for name, value in FACTS.items())
    heard = {"intent": {"name": "inform"}, "entities": [], "text": "hello", "metadata": {"today": TODAY}}
    talk.apply([{"event": "user", "text": "hello", "parse_data": heard, "timestamp": None}])
    return talk.call(action, domain.raw)


@pytest.mark.parametrize("action", ["action_decide", "action_explain_question", "action_tell_due"])
def test_the_same_call_has_the_same_answer(servers: tuple[int, int], action: str) -> None:
    """Events and responses are equal, byte for byte as JSON."""
    body = _body(action)
    ours, theirs = (_call(port, "/webhook", body) for port in servers)
    assert ours == theirs
    assert ours[0] == 200
    assert set(ours[1]) == {"events", "responses"}


def test_a_decision_comes_back_as_slot_events(servers: tuple[int, int]) -> None:
    """The decision is an event another dialogue engine can apply."""
    _, answer = _call(servers[0], "/webhook", _body("action_decide"))
    decided = [event["value"] for event in answer["events"] if event.get("name") == "decision"]
    assert decided[-1]["restring_by"] == "2026-12-31"


def test_an_unknown_action_is_not_found_by_both(servers: tuple[int, int]) -> None:
    """Ours answers 404 with the protocol's error shape; rasa_sdk's app turns its own 404 into another error."""
    body = _body("action_unheard_of")
    status, answer = _call(servers[0], "/webhook", body)
    assert status == 404
    assert answer["action_name"] == "action_unheard_of"
    assert _call(servers[1], "/webhook", body)[0] >= 400


@pytest.mark.parametrize("body", [b"", b"[]", b"no json", b"{}", b'{"next_action": 1}', b"[" * 50_000])
def test_a_broken_call_is_refused_in_the_protocols_shape(servers: tuple[int, int], body: bytes) -> None:
    """No stack trace, no echo of the body."""
    status, answer = _call(servers[0], "/webhook", body)
    assert status == 400
    assert set(answer) == {"error", "action_name"}


def test_a_call_without_token_is_refused(servers: tuple[int, int]) -> None:
    """Health is open, everything else needs the token."""
    assert _call(servers[0], "/health", token=None)[0] == 200
    assert _call(servers[0], "/actions", token=None)[0] == 401
    assert _call(servers[0], "/webhook", b"{}", token="guess")[0] == 401  # noqa: S106 - a wrong one


def test_an_oversized_call_is_refused(servers: tuple[int, int]) -> None:
    """The size limit is the server's own."""
    try:
        status, _ = _call(servers[0], "/webhook", b"x" * 2_000_000)
    except OSError:  # the server may close the line before all is sent
        return
    assert status == 413


def test_every_action_of_the_domain_is_listed(servers: tuple[int, int]) -> None:
    """GET /actions names what the executor has."""
    _, ours = _call(servers[0], "/actions")
    assert "action_decide" in {action["name"] for action in ours}


def test_beyond_this_machine_a_token_is_needed(tmp_path: Path) -> None:
    """--host without a token is refused."""
    done = run(
        "actions",
        "--host",
        "0.0.0.0",  # noqa: S104 - refused
        "--db",
        f"sqlite:///{tmp_path}/x.sqlite3",
        env={"COUNTERPULL_ACTIONS_TOKEN": ""},
    )
    assert done.returncode == 2
    assert "token" in done.stderr
