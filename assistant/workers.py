"""Several processes that serve one socket, looked after by the one that opened it; knows no server and no page."""

from __future__ import annotations

import os
import signal
import sys
import threading
import time
import traceback
from collections.abc import Callable

from assistant.exits import CommandError, Exit

FEWEST_SECONDS = 5.0
"""A worker that ends sooner than this ends by its own fault; another one would end the same way."""


def serve_with_workers(count: int, serve: Callable[[], None]) -> None:
    """Run `serve` in so many processes until this one is told to stop; one that dies is replaced.

    Args:
        count: how many processes.
        serve: serves until it gets SIGTERM; called in each process, before which nothing must be open that
            processes cannot share: no thread, no connection.

    Raises:
        CommandError: when the workers cannot live here.
    """
    if not hasattr(os, "fork"):
        raise CommandError("This system cannot start workers; leave out --workers.")
    held, alive = os.pipe()
    began: dict[int, float] = {}
    stopping = threading.Event()

    def stop(_number: int, _frame: object) -> None:
        stopping.set()
        for child in began:
            os.kill(child, signal.SIGTERM)

    before = {number: signal.signal(number, stop) for number in (signal.SIGINT, signal.SIGTERM)}
    try:
        for _ in range(count):
            began[_start(serve, held, alive)] = time.monotonic()
        _look_after(began, stopping, lambda: _start(serve, held, alive))
    finally:
        for child in began:
            os.kill(child, signal.SIGTERM)
        for child in began:
            os.waitpid(child, 0)
        os.close(alive)
        os.close(held)
        for number, handler in before.items():
            signal.signal(number, handler)


def _look_after(began: dict[int, float], stopping: threading.Event, start: Callable[[], int]) -> None:
    """Wait for the workers and replace those that die."""
    while began:
        child, status = os.wait()
        lived = time.monotonic() - began.pop(child)
        if stopping.is_set():
            continue
        code = os.waitstatus_to_exitcode(status)
        if lived < FEWEST_SECONDS:
            raise CommandError(f"A worker ended at once (code {code}); see what it said above.", Exit.STORAGE)
        sys.stderr.write(f"A worker ended (code {code}); another one takes its place.\n")
        began[start()] = time.monotonic()
        if stopping.is_set():  # told to stop while that one was starting
            for young in began:
                os.kill(young, signal.SIGTERM)


def _start(serve: Callable[[], None], held: int, alive: int) -> int:
    """Start a worker and return its process number."""
    child = os.fork()
    if child:
        return child
    code = 1
    try:
        os.close(alive)
        for number in (signal.SIGINT, signal.SIGTERM):
            signal.signal(number, signal.SIG_DFL)
        # Ctrl+C reaches every process of a terminal; the one that looks after the workers passes it on.
        signal.signal(signal.SIGINT, signal.SIG_IGN)
        threading.Thread(target=_end_with_parent, args=(held,), daemon=True).start()
        serve()
        code = 0
    except CommandError as error:
        sys.stderr.write(f"{error}\n")
        code = int(error.code)
    except BaseException:  # noqa: BLE001 - a forked process must never go on as its parent
        traceback.print_exc()
    finally:
        sys.stderr.flush()
        os._exit(code)


def _end_with_parent(held: int) -> None:
    """Stop when the process that looks after this one is gone, however it went."""
    os.read(held, 1)
    os.kill(os.getpid(), signal.SIGTERM)
