"""A browser's microphone: sound in over a WebSocket, what was said back; keeps no sound and takes no turn."""

from __future__ import annotations

import asyncio
import json
from collections.abc import AsyncIterator, Callable, Iterable, Sequence
from contextlib import suppress
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from sanic import Request, Websocket
from sanic.exceptions import WebsocketClosed
from websockets.exceptions import ConnectionClosed

from assistant.channels.web.ears import SharedEars
from assistant.channels.web.pool import Pool
from assistant.channels.web.wording import figure, load_words

if TYPE_CHECKING:
    from assistant.channels.voice.hear import Hearing, Question
    from assistant.channels.voice.live import Live, LiveEar

BYTES_A_SAMPLE = 2
RATES = range(8_000, 96_001)
"""Samples a second that microphones give."""
MICROPHONE_ALLOWED = "camera=(), geolocation=(), microphone=(self), payment=(), usb=()"
"""The kiosk's pages and, for taps, the board's may ask for the microphone; no other page of this server may."""
LET_GO = "end"
"""Sent by the browser when the button is pressed a second time: what was said so far counts."""


@dataclass(frozen=True)
class Greeting:
    """What a browser says first."""

    rate: int
    """Samples a second of what follows."""
    token: str = ""
    start: str = ""
    """The tokens of the form that the words are for."""

    @classmethod
    def read(cls, message: object) -> Greeting | None:
        """Return the greeting, or None where it is none."""
        try:
            raw: Any = json.loads(message) if isinstance(message, str) else None
        except ValueError:
            return None
        if not isinstance(raw, dict):
            return None
        rate = raw.get("rate")
        if not isinstance(rate, int) or rate not in RATES:
            return None
        return cls(rate, str(raw.get("token") or ""), str(raw.get("start") or ""))


@dataclass(frozen=True)
class Asked:
    """What a browser's screen asks just now."""

    slot: str | None = None
    choices: Sequence[str] = ()


WhatIsAsked = Callable[[Request, Greeting], "Asked | None"]
"""A request and its greeting -> what is asked there; None for a browser that has no such form."""


class Microphone:
    """Hears one utterance a connection."""

    def __init__(self, ears: SharedEars, pool: Pool, today: Callable[[], Any]) -> None:
        self.ears = ears
        self._pool = pool
        self._today = today

    async def listen(self, request: Request, socket: Websocket, what_is_asked: WhatIsAsked) -> None:
        """Hear a browser until something was said, or it is let go, or its time is over."""
        with suppress(WebsocketClosed, ConnectionClosed):
            greeting = Greeting.read(await socket.recv(timeout=figure("greeting_seconds")))
            asked = what_is_asked(request, greeting) if greeting else None
            if greeting is None or asked is None:
                await send(socket, "ended", says=load_words()["speak"]["run_out"])
            elif self.ears.places.full:
                await send(socket, "ended", says=load_words()["speak"]["busy"])
            else:
                with self.ears.places.take():
                    await self._hear(socket, greeting, asked)

    async def _hear(self, socket: Websocket, greeting: Greeting, asked: Asked) -> None:
        listener = await self.ears.listener()
        if listener is None:
            await send(socket, "ended", says=load_words()["speak"]["no_ears"])
            return
        from assistant.channels.voice.hear import Question
        from assistant.channels.voice.live import LiveEar

        question = Question(asked.slot, self._today(), choices=tuple(asked.choices))
        listener.prepare(question)
        ear = await self._pool.run(LiveEar, listener, greeting.rate)
        await send(socket, "ready")
        failures = 0
        async for happened in self._happenings(socket, ear, question, greeting.rate):
            if happened.hearing is None:
                await send(socket, "started")
                continue
            said = _answer(happened.hearing, failures)
            await send(socket, **said)
            if said["kind"] != "again":
                return
            failures += 1
        await send(socket, "ended", says=_phrase("silence"))

    async def _happenings(self, socket: Websocket, ear: LiveEar, question: Question, rate: int) -> AsyncIterator[Live]:
        async for packet in _packets(socket, rate):
            for happened in await self._pool.run(_all, ear.feed, packet, question):
                yield happened
        for happened in await self._pool.run(_all, ear.finish, question):
            yield happened


def _all(hear: Callable[..., Iterable[Live]], *given: object) -> list[Live]:
    """Return all that happens, worked out in the thread that asks for it."""
    return list(hear(*given))


async def _packets(socket: Websocket, rate: int) -> AsyncIterator[bytes]:
    """Yield what the microphone gives, for so long and so much as anybody needs for an answer."""
    clock = asyncio.get_running_loop().time
    ends, left = clock() + figure("listening_seconds"), figure("listening_seconds") * rate * BYTES_A_SAMPLE
    while left > 0 and (seconds := ends - clock()) > 0:
        packet = await socket.recv(timeout=seconds)
        if not isinstance(packet, bytes):
            return  # let go, or silent until the end
        left -= len(packet)
        yield packet


def _answer(hearing: Hearing, failures: int) -> dict[str, Any]:
    """Return what a browser is told of an utterance: its words, or to say it again, or to type."""
    from assistant.channels.voice.agreement import Verdict

    verdict = hearing.agreed.verdict
    if verdict in {Verdict.ACCEPT, Verdict.READ_BACK} and hearing.text:
        return {"kind": "heard", "text": hearing.text, "doubted": list(hearing.agreed.doubted)}
    if failures + 1 >= figure("utterances_at_most"):
        return {"kind": "ended", "says": _phrase("offer_typing")}
    return {"kind": "again", "says": _phrase("yes_or_no" if verdict is Verdict.YES_OR_NO else "ask_again")}


def _phrase(key: str) -> str:
    from assistant.channels.voice.errors import phrase

    return phrase(key)


async def send(socket: Websocket, kind: str, **values: Any) -> None:
    """Tell a browser something: what kind of thing it is, and its values."""
    await socket.send(json.dumps({"kind": kind, **values}))
