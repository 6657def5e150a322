"""Taps on a stringbed heard through a browser's microphone, as repeats of a reading in Hz; keeps no sound."""

from __future__ import annotations

import asyncio
from array import array
from collections.abc import Callable
from contextlib import suppress
from importlib.util import find_spec
from typing import Any

from sanic import Request, Websocket
from sanic.exceptions import WebsocketClosed
from websockets.exceptions import ConnectionClosed

from assistant.channels.web.ears import Places
from assistant.channels.web.microphone import BYTES_A_SAMPLE, Greeting, send
from assistant.channels.web.pool import Pool
from assistant.channels.web.wording import figure, load_words
from dialogue.counter.outcomes import Refusal
from dialogue.counter.taps import Tap, read_tap

FULL_SCALE = 1 << 15
NEEDED = ("numpy", "scipy")

Allowed = Callable[[Request, Greeting], bool]
"""Whether a browser that greets so has the form that the taps are for."""


def can_hear_taps() -> bool:
    """Tell whether what reading taps needs is installed, without loading it."""
    return all(map(find_spec, NEEDED))


class TapEar:
    """Hears one reading a connection: as soon as enough taps agree, or when the browser has no more."""

    def __init__(self, pool: Pool) -> None:
        self._pool = pool
        self._places = Places(figure("tap_ears_at_most"))

    async def listen(self, request: Request, socket: Websocket, allowed: Allowed) -> None:
        """Hear a browser until the taps are read, or it is let go, or its time is over."""
        with suppress(WebsocketClosed, ConnectionClosed):
            greeting = Greeting.read(await socket.recv(timeout=figure("greeting_seconds")))
            if greeting is None or not allowed(request, greeting):
                await send(socket, "ended", says=load_words()["taps"]["run_out"])
            elif self._places.full:
                await send(socket, "ended", says=load_words()["taps"]["busy"])
            else:
                with self._places.take():
                    await self._hear(socket, greeting.rate)

    async def _hear(self, socket: Websocket, rate: int) -> None:
        await send(socket, "ready")
        clock = asyncio.get_running_loop().time
        ends, sound, looked = clock() + figure("tap_seconds"), bytearray(), 0.0
        said: Tap | Refusal | None = None
        while (left := ends - clock()) > 0 and (seconds := _length(sound, rate)) < figure("tap_seconds"):
            if seconds - looked >= figure("look_for_taps_seconds"):
                looked, said = seconds, await self._read(sound, rate)
                if isinstance(said, Tap) and len(said.taps) >= figure("taps_wanted"):
                    break
            packet = await socket.recv(timeout=left)
            if not isinstance(packet, bytes):
                said = None
                break  # let go, or silent until the end
            sound += packet
        said = said or await self._read(sound, rate)
        if isinstance(said, Refusal):
            await send(socket, "ended", says=str(said.values["message"]))
        else:
            await send(socket, "heard", **_heard(said))

    async def _read(self, sound: bytearray, rate: int) -> Tap | Refusal:
        whole = bytes(sound[: len(sound) // BYTES_A_SAMPLE * BYTES_A_SAMPLE])
        return await self._pool.run(_read_sound, whole, rate)


def _read_sound(sound: bytes, rate: int) -> Any:
    samples = [sample / FULL_SCALE for sample in array("h", sound)]
    return read_tap(samples, rate)


def _length(sound: bytearray, rate: int) -> float:
    return len(sound) / BYTES_A_SAMPLE / rate


def _heard(tap: Tap) -> dict[str, Any]:
    """Return what a browser is told: the figure of each tap, and what must be said of them."""
    figures = [f"{hertz:g}" for hertz in tap.taps]
    words = load_words()["taps"]
    says = words["heard"].format(n=len(figures), figures=", ".join(figures))
    return {"values": " ".join(figures), "says": " ".join([says, *tap.remarks])}
