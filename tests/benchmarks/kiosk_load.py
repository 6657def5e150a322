"""A load generator for the kiosk: browsers on loopback that talk whole consultations through, every answer checked.

They think three seconds on average between two turns, as nobody reads and taps faster.
"""

from __future__ import annotations

import asyncio
import random
import re
import statistics
import time
from dataclasses import dataclass, field
from urllib.parse import urlencode, urlsplit

import psutil

from assistant.bootstrap import decide_facts
from assistant.channels.web.wording import load_words
from assistant.settings import Settings
from tests.assistant.web.running_shop import TODAY

CONSULTATIONS = 2
THINKING_SECONDS = (1.0, 5.0)
PLAYS = {"once a week": 1, "twice a week": 2, "three times a week": 3, "five times a week": 5}
STRINGS = {"synthetic gut": "synthetic_gut", "multifilament": "multifilament", "polyester": "polyester"}
STRUNG = {"on the 1st of June 2026": "2026-06-01", "on the 5th of October 2026": "2026-10-05"}
RESTING_SECONDS = 0.1
"""A server that spends less than this in a second rests."""
TURNS = 6
"""Of one consultation."""


@dataclass
class Load:
    """What the generator saw."""

    seconds: list[float] = field(default_factory=list)
    wrong: list[str] = field(default_factory=list)

    def at(self, share: float) -> float:
        """Return the time below which this share of the turns lies."""
        ordered = sorted(self.seconds)
        return ordered[min(int(len(ordered) * share), len(ordered) - 1)]

    def figures(self) -> dict[str, float]:
        """Return how long turns took, in seconds."""
        return {"p50": self.at(0.5), "p95": self.at(0.95), "p99": self.at(0.99), "mean": statistics.mean(self.seconds)}


class Kiosk:
    """One browser; on one connection that is kept open, or on a new one for each turn."""

    def __init__(self, address: str, *, keeps_open: bool = True) -> None:
        self._keeps_open = keeps_open
        self._place = urlsplit(address)
        self._cookie = ""
        self._streams: tuple[asyncio.StreamReader, asyncio.StreamWriter] | None = None
        self.text = ""

    async def ask(self, path: str, fields: dict[str, str] | None = None) -> int:
        """Send one request and return its status."""
        if self._streams is None:
            self._streams = await asyncio.open_connection(self._place.hostname, self._place.port)
        reader, writer = self._streams
        body = urlencode(fields or {}).encode()
        head = f"{'POST' if fields else 'GET'} {path} HTTP/1.1\r\nHost: {self._place.netloc}\r\nX-Part: 1\r\n"
        head += f"Cookie: {self._cookie}\r\nContent-Type: application/x-www-form-urlencoded\r\n"
        writer.write(f"{head}Content-Length: {len(body)}\r\n\r\n".encode() + body)
        headers = (await reader.readuntil(b"\r\n\r\n")).decode()
        length = re.search(r"(?i)content-length: (\d+)", headers)
        self.text = (await reader.readexactly(int(length[1]) if length else 0)).decode()
        if cookie := re.search(r"(?i)set-cookie: ([^;]+)", headers):
            self._cookie = cookie[1]
        if not self._keeps_open:
            await self.close()
        return int(headers.split()[1])

    async def close(self) -> None:
        """Close the connection while the loop still runs: one left open ends in a warning after it."""
        if self._streams is not None:
            _, writer = self._streams
            self._streams = None
            writer.close()
            await writer.wait_closed()

    async def talk(self, path: str, **fields: str) -> int:
        """Send a form of the page shown."""
        token = re.search(r'name="token" value="([^"]+)"', self.text)
        return await self.ask(path, {"token": token[1] if token else "", **fields})


async def consult(kiosk: Kiosk, chance: random.Random, load: Load, settings: Settings) -> None:
    """Talk one consultation through and compare its card with what the rules decide on the same facts."""
    plays, strings, strung = (chance.choice(list(choice)) for choice in (PLAYS, STRINGS, STRUNG))
    for text in ("When should I restring?", "just for fun", plays, strings, "same as the mains", strung):
        await asyncio.sleep(chance.uniform(*THINKING_SECONDS))
        began = time.perf_counter()
        status = await kiosk.talk("/talk", text=text)
        load.seconds.append(time.perf_counter() - began)
        if status != 200:
            load.wrong.append(f"{text}: {status}")
    facts = {"level": "recreational", "plays_per_week": PLAYS[plays], "strung_on": STRUNG[strung]}
    facts |= {"mains_material": STRINGS[strings], "crosses_material": STRINGS[strings]}
    decision = decide_facts(facts, settings)
    for expected in (load_words()["verdicts"][decision["verdict"]], *(step["says"] for step in decision["trail"])):
        if expected not in kiosk.text.replace("&#39;", "'"):
            load.wrong.append(f"{plays}, {strings}, {strung}: {expected}")
    await kiosk.talk("/clear")


def let_settle(server: int) -> None:
    """Wait until a server and its workers have loaded their ears: a shop is opened before its customers come."""
    processes = [psutil.Process(server), *psutil.Process(server).children(recursive=True)]
    spent = -1.0
    while (now := sum(sum(process.cpu_times()[:2]) for process in processes)) - spent > RESTING_SECONDS:
        spent = now
        time.sleep(1)


async def run_load(address: str, kiosks: int, *, keeps_open: bool = True) -> Load:
    """Let so many kiosks talk at once."""
    load, settings = Load(), Settings(None, TODAY)

    async def one(number: int) -> None:
        chance, kiosk = random.Random(number), Kiosk(address, keeps_open=keeps_open)  # noqa: S311 - no secret
        await asyncio.sleep(chance.uniform(0, THINKING_SECONDS[1]))
        try:
            await kiosk.ask("/")
            for _ in range(CONSULTATIONS):
                await consult(kiosk, chance, load, settings)
        finally:
            await kiosk.close()

    await asyncio.gather(*(one(number) for number in range(kiosks)))
    return load
