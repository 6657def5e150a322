"""Cookies and form tokens: what they let through, how long, and what ends them."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from assistant.channels.web.sessions import Sessions, TalkSession
from assistant.channels.web.wording import figure

SECRET = b"s" * 32
HASH = "argon2-hash-of-a-pin"


class Clock:
    """A clock that a test sets."""

    def __init__(self) -> None:
        self.now = 1_800_000_000.0

    def __call__(self) -> float:
        """Return the moment."""
        return self.now


def test_a_session_is_read_back_from_its_cookie() -> None:
    """Whose it is stays with it."""
    sessions = Sessions(SECRET, Clock())
    began, cookie = sessions.begin_staff(7, HASH)
    assert sessions.read_staff(cookie, lambda _: HASH) == began


def test_a_new_pin_and_a_retired_name_end_it() -> None:
    """The hash of the PIN is part of the signature; nobody has none."""
    sessions = Sessions(SECRET, Clock())
    _, cookie = sessions.begin_staff(7, HASH)
    assert sessions.read_staff(cookie, lambda _: "another hash") is None
    assert sessions.read_staff(cookie, lambda _: None) is None


def test_it_ends_when_unused_and_after_a_working_day() -> None:
    """Each use keeps it alive, but not for ever."""
    clock = Clock()
    sessions = Sessions(SECRET, clock)
    session, cookie = sessions.begin_staff(7, HASH)
    clock.now += figure("staff_idle_seconds") + 1
    assert sessions.read_staff(cookie, lambda _: HASH) is None
    clock.now = session.began
    while clock.now - session.began <= figure("staff_longest_seconds") - 1800:
        clock.now += 1800
        found = sessions.read_staff(cookie, lambda _: HASH)
        assert found
        cookie = sessions.write_staff(found, HASH)
    clock.now += 1800
    assert sessions.read_staff(cookie, lambda _: HASH) is None


def test_a_kiosk_s_conversation_is_forgotten_when_it_is_left_alone() -> None:
    """Each page keeps it alive; what was said is not handed to whoever comes minutes later."""
    clock = Clock()
    sessions = Sessions(SECRET, clock)
    cookie = sessions.write_talk(TalkSession("key", turns=2))
    clock.now += figure("talk_forgotten_seconds")
    assert sessions.read_talk(cookie) == TalkSession("key", turns=2)
    clock.now += 1
    assert sessions.read_talk(cookie) is None
    assert sessions.read_talk(cookie.replace(".2.", ".3.")) is None


def test_another_secret_reads_nothing() -> None:
    """A server that was started anew signs everybody out."""
    _, cookie = Sessions(SECRET).begin_staff(7, HASH)
    began = Sessions(SECRET).begin_talk()
    talk = Sessions(SECRET).write_talk(began)
    other = Sessions(b"t" * 32)
    assert other.read_staff(cookie, lambda _: HASH) is None
    assert other.read_talk(talk) is None
    assert Sessions(SECRET).read_talk(talk) == began


def test_a_kiosk_s_cookie_is_no_staff_cookie_and_its_token_fits_no_other_form() -> None:
    """What one purpose signed is worth nothing for another."""
    sessions = Sessions(SECRET)
    key = sessions.begin_talk().key
    talk = sessions.write_talk(TalkSession(key))
    assert sessions.read_staff(talk, lambda _: HASH) is None
    assert sessions.is_token(f"talk:{key}", sessions.form_token(f"talk:{key}"))
    assert not sessions.is_token("talk:other", sessions.form_token(f"talk:{key}"))
    assert not sessions.is_token(f"talk:{key}", None)


@given(st.text(max_size=200))
def test_no_made_up_cookie_opens_anything(cookie: str) -> None:
    """Whatever it holds, it is read as nobody's, without a fault."""
    sessions = Sessions(SECRET)
    assert sessions.read_staff(cookie, lambda _: HASH) is None
    assert sessions.read_talk(cookie) is None


@given(st.integers(0, 200), st.characters())
def test_a_changed_letter_spoils_a_cookie(at: int, letter: str) -> None:
    """At any place."""
    sessions = Sessions(SECRET, Clock())
    _, cookie = sessions.begin_staff(7, HASH)
    at %= len(cookie)
    changed = cookie[:at] + letter + cookie[at + 1 :]
    if changed != cookie:
        assert sessions.read_staff(changed, lambda _: HASH) is None
