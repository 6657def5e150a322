"""The keyboard beside the microphone: lines typed at any time, Enter alone as the key or pedal; knows no sound."""

from __future__ import annotations

import sys
import threading
from collections.abc import Callable


def read_keys(take: Callable[[str | None], None]) -> threading.Thread:
    """Hand each typed line to `take` from a thread of its own: "" is Enter alone, None the end of the input."""
    thread = threading.Thread(target=_read, args=(take,), name="keys", daemon=True)
    thread.start()
    return thread


def _read(take: Callable[[str | None], None]) -> None:
    for line in sys.stdin:
        take(line.rstrip("\r\n"))
    # Without a terminal there was never anybody to type, so the end of input ends nothing.
    if sys.stdin.isatty():
        take(None)
