"""Signed cookies and form tokens: who a browser is, so that any worker can take the next request; holds no state."""

from __future__ import annotations

import base64
import hashlib
import hmac
import secrets
import time
from collections.abc import Callable
from dataclasses import dataclass

from assistant.channels.web.wording import figure

KIOSK_COOKIE = "kiosk"
STAFF_COOKIE = "staff"
SEPARATOR = "."


@dataclass(frozen=True)
class TalkSession:
    """One conversation at a kiosk."""

    key: str
    turns: int = 0
    """How many were taken in it; tells what a worker remembers from what another one did meanwhile."""


@dataclass(frozen=True)
class StaffSession:
    """Somebody of the staff who has signed in."""

    staff_id: int
    began: int
    """When the PIN was given, in seconds since 1970."""
    seen: int
    """When this browser last asked for anything."""
    nonce: str
    """Tells two sessions of one person apart."""

    @property
    def key(self) -> str:
        """What the form tokens of this session are made from."""
        return f"staff:{self.staff_id}:{self.nonce}"


class Sessions:
    """Writes and reads cookies; a changed PIN or a changed secret ends every session it signed."""

    def __init__(self, secret: bytes, clock: Callable[[], float] = time.time) -> None:
        self._secret = secret
        self._clock = clock

    # The kiosk: a conversation of its own, and nothing else.

    def begin_talk(self) -> TalkSession:
        """Return a new conversation, in which nothing was said yet."""
        return TalkSession(secrets.token_urlsafe(18))

    def write_talk(self, talk: TalkSession) -> str:
        """Return a conversation's cookie, seen now."""
        text = SEPARATOR.join((talk.key, str(int(self._clock())), str(talk.turns)))
        return f"{text}{SEPARATOR}{self._sign('talk', text)}"

    def read_talk(self, cookie: str | None) -> TalkSession | None:
        """Return the conversation of a cookie, or None for one that was not made here or was left alone too long."""
        key, _, rest = (cookie or "").partition(SEPARATOR)
        seen, _, rest = rest.partition(SEPARATOR)
        turns, _, signature = rest.partition(SEPARATOR)
        if not _same(signature, self._sign("talk", SEPARATOR.join((key, seen, turns)))):
            return None
        young = self._clock() - int(seen) <= figure("talk_forgotten_seconds")
        return TalkSession(key, int(turns)) if young else None

    # Staff.

    def begin_staff(self, staff_id: int, pin_hash: str) -> tuple[StaffSession, str]:
        """Return a new session and its cookie; every sign-in makes a new one."""
        now = int(self._clock())
        session = StaffSession(staff_id, now, now, secrets.token_urlsafe(12))
        return session, self.write_staff(session, pin_hash)

    def write_staff(self, session: StaffSession, pin_hash: str) -> str:
        """Return the session's cookie, seen now."""
        text = SEPARATOR.join((str(session.staff_id), str(session.began), str(int(self._clock())), session.nonce))
        return f"{text}{SEPARATOR}{self._sign('staff', text + pin_hash)}"

    def read_staff(self, cookie: str | None, pin_hash_of: Callable[[int], str | None]) -> StaffSession | None:
        """Return the session of a cookie, or None for one that is forged or too old; not whether it was ended."""
        parts = (cookie or "").split(SEPARATOR)
        if len(parts) != 5 or not all(part.isdecimal() and len(part) < 16 for part in parts[:3]):  # noqa: PLR2004
            return None
        session = StaffSession(int(parts[0]), int(parts[1]), int(parts[2]), parts[3])
        pin_hash = pin_hash_of(session.staff_id)
        text = SEPARATOR.join(parts[:4])
        if pin_hash is None or not _same(parts[4], self._sign("staff", text + pin_hash)):
            return None
        return session if self._is_young(session) else None

    def _is_young(self, session: StaffSession) -> bool:
        now = self._clock()
        return (
            now - session.seen <= figure("staff_idle_seconds")
            and now - session.began <= figure("staff_longest_seconds")
            and session.seen <= now + 1
        )

    # Forms.

    def form_token(self, key: str) -> str:
        """Return the token that a form of this session carries."""
        return self._sign("form", key)

    def is_token(self, key: str, token: str | None) -> bool:
        """Tell whether a form was made for this session."""
        return _same(token or "", self.form_token(key))

    def _sign(self, purpose: str, text: str) -> str:
        digest = hmac.new(self._secret, f"{purpose}\n{text}".encode(), hashlib.sha256).digest()
        return base64.urlsafe_b64encode(digest).decode().rstrip("=")


def _same(given: str, wanted: str) -> bool:
    """Compare in a time that tells nothing; a cookie may hold any bytes."""
    return hmac.compare_digest(given.encode("utf-8", "replace"), wanted.encode())
