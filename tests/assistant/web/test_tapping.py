"""Taps heard through the board's browser: their figures come back, what holds none is told, nobody else is heard."""

from __future__ import annotations

import json
from dataclasses import replace
from typing import Any
from urllib.parse import urlsplit

import numpy as np
import pytest
from numpy.typing import NDArray
from websockets.exceptions import InvalidStatus
from websockets.sync.client import ClientConnection, connect

from assistant.channels.web.shop import Shop
from assistant.channels.web.wording import figure, load_words
from tests.assistant.web.running_shop import Visitor, running
from tests.rules.synthetic_taps import Tapped, sound

RATE = 16_000
PACKET = 3200
"""Bytes: a tenth of a second."""


def as_packets(samples: NDArray[np.float64]) -> list[bytes]:
    """Return sound as the browser sends it."""
    whole = (samples * 32767).astype("<i2").tobytes()
    return [whole[at : at + PACKET] for at in range(0, len(whole), PACKET)]


def open_socket(base: str, who: Visitor | None, **headers: str) -> ClientConnection:
    """Open the socket as somebody's browser."""
    cookies = "; ".join(f"{name}={value}" for name, value in who.client.cookies.items()) if who else ""
    given = {**({"Cookie": cookies} if cookies else {}), **headers}
    return connect(f"ws://{urlsplit(base).netloc}/board/taps", additional_headers=given)


def greet(socket: ClientConnection, token: str) -> dict[str, Any]:
    """Say who is there and return the answer."""
    socket.send(json.dumps({"rate": RATE, "token": token}))
    return read(socket)


def read(socket: ClientConnection) -> dict[str, Any]:
    """Return what the server says next."""
    said: dict[str, Any] = json.loads(socket.recv(timeout=20))
    return said


def tap(base: str, staff: Visitor, samples: NDArray[np.float64], *, end: bool = True) -> dict[str, Any]:
    """Tap before the microphone and return what is answered."""
    staff.look("/board/")
    with open_socket(base, staff) as socket:
        assert greet(socket, staff.token) == {"kind": "ready"}
        for packet in as_packets(samples):
            socket.send(packet)
        if end:
            socket.send("end")
        return read(socket)


def test_three_taps_are_read_without_another_press(base: str, staff: Visitor) -> None:
    """As soon as they agree; one figure a tap, as repeats of one reading, within 1 % of what was tapped."""
    said = tap(base, staff, sound(Tapped(612, RATE)), end=False)
    assert said["kind"] == "heard"
    figures = [float(text) for text in said["values"].split()]
    assert len(figures) == figure("taps_wanted")
    assert figures == pytest.approx([612] * 3, rel=0.01)
    assert said["says"].startswith("Heard 3 taps: ")


def test_two_taps_are_read_with_a_word_when_it_is_let_go(base: str, staff: Visitor) -> None:
    """Who has no third tap presses once more."""
    said = tap(base, staff, sound(Tapped(540, RATE, taps=2)))
    assert [float(text) for text in said["values"].split()] == pytest.approx([540] * 2, rel=0.01)
    assert "three make a better reading" in said["says"]


@pytest.mark.parametrize(
    ("samples", "says"),
    [
        (np.zeros(RATE), "Nothing is to be heard"),
        (0.2 * np.random.default_rng(3).normal(size=2 * RATE).clip(-1, 1), "No tap is to be heard"),
        (np.zeros(0), "Nothing is to be heard"),
    ],
)
def test_what_holds_no_tap_is_told(base: str, staff: Visitor, samples: NDArray[np.float64], says: str) -> None:
    """In a sentence that says what to do, and nothing goes into the field."""
    said = tap(base, staff, samples)
    assert said["kind"] == "ended"
    assert says in said["says"]


def test_half_a_sample_is_no_fault(base: str, staff: Visitor) -> None:
    """A packet cut anywhere."""
    staff.look("/board/")
    with open_socket(base, staff) as socket:
        greet(socket, staff.token)
        for packet in [*as_packets(sound(Tapped(600, RATE)))[:5], b"\0", b""]:
            socket.send(packet)
        socket.send("end")
        assert read(socket)["kind"] == "ended"


def test_only_the_staff_s_own_page_is_heard(base: str, staff: Visitor) -> None:
    """Nobody without a session, no other site's page, no form of somebody else's; no more than there are places."""
    with pytest.raises(InvalidStatus, match="401"), open_socket(base, None):
        pass
    with pytest.raises(InvalidStatus, match="403"), open_socket(base, staff, Origin="http://evil.example"):
        pass
    with open_socket(base, staff) as socket:
        assert greet(socket, "guess") == {"kind": "ended", "says": load_words()["taps"]["run_out"]}
    staff.look("/board/")
    sockets = [open_socket(base, staff) for _ in range(figure("tap_ears_at_most") + 1)]
    try:
        answers = [greet(socket, staff.token) for socket in sockets]
    finally:
        for socket in sockets:
            socket.close()
    assert [answer["kind"] for answer in answers] == ["ready"] * figure("tap_ears_at_most") + ["ended"]


def test_the_microphone_may_be_asked_for_by_the_board_alone(base: str, staff: Visitor) -> None:
    """Not by the page where one signs in."""
    assert "microphone=(self)" in staff.look("/board/").headers["Permissions-Policy"]
    with Visitor(base) as stranger:
        assert "microphone=()" in stranger.look("/board/sign-in").headers["Permissions-Policy"]


def test_without_what_it_needs_there_is_no_button_and_no_ear(shop: Shop) -> None:
    """The figures are typed, as ever."""
    with running(replace(shop, hears_taps=False)) as base, Visitor(base) as staff:
        staff.sign_in()
        page = staff.look("/board/")
        assert "taps.js" not in page.text
        assert "microphone=()" in page.headers["Permissions-Policy"]
        with pytest.raises(InvalidStatus, match="404"), open_socket(base, staff):
            pass
