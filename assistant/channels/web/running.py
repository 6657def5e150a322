"""Runs a web server on a socket until it is told to stop; knows no page."""

from __future__ import annotations

import asyncio
import contextlib
import importlib
import signal
import socket
from collections.abc import Callable
from typing import Any, cast

from assistant.channels.web.pages import App


def serve_alone(app: App, listening: socket.socket) -> None:
    """Serve in a process that has no other server, which is faster, until interrupted."""
    # Sanic takes out of its own code the signals nobody listens to, once a process: two dozen look-ups a request.
    app.config.TOUCHUP = True
    app.state.primary = True
    with asyncio.Runner(loop_factory=_find_loop()) as runner:
        runner.run(serve(app, listening))


def _find_loop() -> Callable[[], asyncio.AbstractEventLoop] | None:
    """Return what makes the faster event loop that Sanic brings along where there is one, else None."""
    try:
        uvloop: Any = importlib.import_module("uvloop")
    except ImportError:
        return None
    return cast("Callable[[], asyncio.AbstractEventLoop]", uvloop.new_event_loop)


async def serve(app: App, listening: socket.socket, ready: asyncio.Event | None = None) -> None:
    """Serve on a listening socket until interrupted or cancelled, then let open requests finish.

    Args:
        app: what is served.
        listening: where.
        ready: set once requests are answered.
    """
    server: Any = await app.create_server(sock=listening, return_asyncio_server=True, access_log=False)
    if server is None:
        message = "the server did not start"
        raise RuntimeError(message)
    stop = asyncio.Event()
    loop = asyncio.get_running_loop()
    for number in (signal.SIGINT, signal.SIGTERM):
        with contextlib.suppress(NotImplementedError, RuntimeError, ValueError):  # not in every thread and system
            loop.add_signal_handler(number, stop.set)
    await server.startup()
    await server.before_start()
    await server.after_start()
    try:
        if ready:
            ready.set()
        await stop.wait()
    finally:
        await server.before_stop()
        server.close()
        await server.wait_closed()
        await server.after_stop()
