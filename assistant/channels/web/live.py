"""Tells open boards that something changed, at this counter or another one; says nothing of what."""

from __future__ import annotations

import asyncio
import contextlib
import logging
from collections.abc import Awaitable, Callable

from sanic import Websocket

from assistant.channels.web.wording import figure

logger = logging.getLogger(__name__)
CHANGED = "changed"


class Live:
    """The open boards of this worker."""

    def __init__(self, last_change: Callable[[], Awaitable[int]]) -> None:
        self._last_change = last_change
        self._boards: set[Websocket] = set()
        self._seen: int | None = None

    @property
    def full(self) -> bool:
        """Whether no more boards can listen."""
        return len(self._boards) >= figure("sockets_at_most")

    async def listen(self, board: Websocket, shown: str) -> None:
        """Keep one board told until it goes; `shown` is the last change that its page already shows."""
        self._boards.add(board)
        try:
            last = await self._last_change()
            if self._seen is None:
                self._seen = last
            if shown != str(last):
                await board.send(f"{CHANGED} {last}")
            async for _ in board:
                pass  # a board has nothing to say
        finally:
            self._boards.discard(board)

    async def watch(self) -> None:
        """Look for changes for ever; other counters write to the same database and tell nobody."""
        while True:
            await asyncio.sleep(figure("look_for_changes_seconds"))
            if self._boards:
                await self.look()
            else:
                self._seen = None

    async def look(self) -> int | None:
        """Look once, tell the boards when there is something new, and return the last change; None where that fails."""
        try:
            last = await self._last_change()
        except Exception as error:  # noqa: BLE001 - whatever broke, the next look may do better
            logger.error("live_failed error=%s", type(error).__name__)  # noqa: TRY400 - its text may name a customer
            return None
        if self._seen is not None and last != self._seen:
            await self.tell(last)
        self._seen = last
        return last

    async def tell(self, last: int) -> None:
        """Tell every board that something changed, and the number of it: a page may show it already."""
        for board in list(self._boards):
            with contextlib.suppress(Exception):  # one that went away is found out by its own reader
                await board.send(f"{CHANGED} {last}")
