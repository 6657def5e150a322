"""Threads in which the shop's own work is done, so that one slow answer keeps no other browser waiting."""

from __future__ import annotations

import asyncio
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from typing import ParamSpec, TypeVar

P = ParamSpec("P")
R = TypeVar("R")


class Pool:
    """A few threads; the server's own thread never waits for the database."""

    def __init__(self, threads: int) -> None:
        self._threads = ThreadPoolExecutor(threads, thread_name_prefix="web")

    async def run(self, work: Callable[P, R], *args: P.args, **kwargs: P.kwargs) -> R:
        """Return what the work returns, done in another thread."""
        loop = asyncio.get_running_loop()
        return await loop.run_in_executor(self._threads, lambda: work(*args, **kwargs))

    def close(self) -> None:
        """Let go of the threads once they have finished."""
        self._threads.shutdown()
