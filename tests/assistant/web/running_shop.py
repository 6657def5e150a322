"""A real server on a loopback port, over a real database, for tests that ask it as a browser would."""

from __future__ import annotations

import asyncio
import datetime as dt
import re
import threading
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any, Self

import httpx

from assistant.bootstrap import Surroundings, open_counter, open_shop
from assistant.channels.web.app import build_app
from assistant.channels.web.running import serve
from assistant.channels.web.shop import Shop
from assistant.commands.serve import listen
from assistant.demo.fill import fill_demo
from assistant.settings import Settings
from dialogue.counter.staff import add_staff
from dialogue.messages import Choice, Message, Reply

TODAY = dt.date(2026, 11, 24)
NAME, PIN = "Rowan Sedge", "471100"
"""Invented, like everybody in these tests."""


def settings_of(path: Path) -> Settings:
    """Return the settings of a run on a database file, on the day of these tests."""
    return Settings(f"sqlite:///{path}", TODAY)


def fill_shop(path: Path) -> None:
    """Fill a database with the invented club and one member of staff."""
    with open_counter(settings_of(path)) as counter:
        fill_demo(counter)
        add_staff(counter, NAME, "owner", PIN)


@contextmanager
def real_shop(path: Path, **surroundings: Any) -> Iterator[Shop]:
    """Open the shop as the command does."""
    given = {"hears_taps": True, **surroundings}
    with open_shop(settings_of(path), Surroundings(today=lambda: TODAY, **given)) as shop:
        yield shop


@contextmanager
def running(shop: Shop) -> Iterator[str]:
    """Serve a shop on a free loopback port and give its address."""
    listening = listen("127.0.0.1", 0)
    loops: list[tuple[asyncio.AbstractEventLoop, asyncio.Task[None]]] = []
    up = threading.Event()
    broken: list[BaseException] = []

    async def work() -> None:
        ready = asyncio.Event()
        task = asyncio.ensure_future(serve(build_app(shop), listening, ready))
        loops.append((asyncio.get_running_loop(), task))
        waiting = asyncio.ensure_future(ready.wait())
        await asyncio.wait({task, waiting}, return_when=asyncio.FIRST_COMPLETED)
        up.set()
        try:
            await task
        except asyncio.CancelledError:
            pass
        except BaseException as error:  # noqa: BLE001 - told to the test below
            broken.append(error)
        waiting.cancel()

    thread = threading.Thread(target=lambda: asyncio.run(work()), daemon=True)
    thread.start()
    up.wait(30)
    assert not broken, broken
    try:
        yield f"http://127.0.0.1:{listening.getsockname()[1]}"
    finally:
        loop, task = loops[0]
        loop.call_soon_threadsafe(task.cancel)
        thread.join(30)
        listening.close()
    assert not broken, broken


class Visitor:
    """A browser without a screen: keeps cookies, sends the tokens of the forms it was shown."""

    def __init__(self, base: str) -> None:
        self.client = httpx.Client(base_url=base, follow_redirects=True, timeout=20)
        self.page = httpx.Response(200)

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.client.close()

    def look(self, path: str) -> httpx.Response:
        """Get a page."""
        self.page = self.client.get(path)
        return self.page

    def send(self, path: str, **fields: Any) -> httpx.Response:
        """Send a form with the token of the page last shown."""
        given = {name: str(value) for name, value in fields.items() if value is not None}
        self.page = self.client.post(path, data={"token": self.token, **given})
        return self.page

    def say(self, text: str) -> httpx.Response:
        """Take one turn at the kiosk."""
        return self.send("/talk", text=text)

    def sign_in(self, name: str = NAME, pin: str = PIN) -> httpx.Response:
        """Sign in to the board."""
        self.page = self.client.post("/board/sign-in", data={"name": name, "pin": pin})
        return self.page

    @property
    def token(self) -> str:
        """The token of the last page's forms; empty where it had none."""
        found = re.search(r'name="token" value="([^"]+)"', self.page.text)
        return found[1] if found else ""

    @property
    def text(self) -> str:
        """What the last page says, without its tags."""
        main = re.sub(r"(?s).*<main[^>]*>|</main>.*|<svg.*?</svg>", "", self.page.text)
        return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", main)).replace("&#39;", "'").strip()

    @property
    def heading(self) -> str:
        """The last page's first heading."""
        found = re.search(r"(?s)<h1[^>]*>(.*?)</h1>", self.page.text)
        return re.sub(r"\s+", " ", re.sub(r"<[^>]+>", " ", found[1])).strip() if found else ""


@dataclass
class EchoTurn:
    """A conversation that says back what its own sender said, so that a mix-up is seen at once."""

    said: dict[str, list[str]] = field(default_factory=dict)
    work: Callable[[], None] = lambda: None

    def __call__(self, message: Message) -> list[Reply]:
        """Return what this sender has said so far."""
        self.work()
        texts = self.said.setdefault(message.sender_id, [])
        texts.append(message.text)
        return [Reply(text=(f"So far: {' | '.join(texts)}. And now?",), asked="level", choices=(Choice("Yes"),))]


def with_turn(shop: Shop, turn: Any) -> Shop:
    """Return the shop with another conversation."""
    return replace(shop, turn=turn)
