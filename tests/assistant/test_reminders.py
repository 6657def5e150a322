"""Reminders over a real mail server on loopback: sent once, whatever breaks, and honest where nobody can know."""

from __future__ import annotations

import contextlib
import datetime as dt
import os
import signal
import socket
import subprocess
import sys
import textwrap
import threading
from collections.abc import Callable, Iterator
from dataclasses import dataclass, field, replace
from email import message_from_bytes
from email.message import EmailMessage
from email.policy import default
from pathlib import Path
from typing import Any, cast

import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, Envelope, Session

from assistant.exits import CommandError
from assistant.mail import Delivery, Fate, Letter, Mailbox, read_mailbox, send_mail, write_message
from assistant.reminders import send_reminders
from dialogue.counter.counter import Counter
from dialogue.counter.reminders import draft_reminders, list_reminders, settle_reminder
from rules.rulebook import load_book
from storage.database import open_store
from tests.assistant.command import ROOT
from tests.dialogue.counter.conftest import MAYA, TODAY, Clock, bring, need, tag_of

SEPTEMBER = dt.date(2026, 9, 1)
NOON = dt.datetime(2026, 9, 1, 12, tzinfo=dt.timezone(dt.timedelta(hours=2)))


@dataclass
class Post:
    """What a mail server was given, and how it is to behave."""

    letters: list[EmailMessage] = field(default_factory=list)
    answer_to_data: str = "250 taken"
    answer_to_address: str = "250 fine"
    hang_up: bool = False
    """Take the message and hang up before answering."""

    async def handle_RCPT(  # noqa: N802 - aiosmtpd's name
        self, _: SMTP, __: Session, envelope: Envelope, address: str, ___: list[str]
    ) -> str:
        """Take or refuse an address."""
        if self.answer_to_address.startswith("250"):
            envelope.rcpt_tos.append(address)
        return self.answer_to_address

    async def handle_DATA(self, server: SMTP, _: Session, envelope: Envelope) -> str:  # noqa: N802 - aiosmtpd's name
        """Take or refuse a message."""
        if self.answer_to_data.startswith("250"):
            letter = message_from_bytes(cast("bytes", envelope.original_content), policy=default)
            self.letters.append(cast("EmailMessage", letter))
        if self.hang_up and server.transport:
            server.transport.abort()
        return self.answer_to_data


@pytest.fixture
def post() -> Post:
    """A mail server's memory."""
    return Post()


@pytest.fixture
def mailbox(post: Post) -> Iterator[Mailbox]:
    """A real mail server on loopback."""
    controller = Controller(post, hostname="127.0.0.1", port=0)
    # Port 0 lets the system choose; the controller's own check of its port cannot know it, so it is bound here.
    with contextlib.closing(socket.socket()) as taken:
        taken.bind(("127.0.0.1", 0))
        controller.port = taken.getsockname()[1]
    controller.start()
    try:
        yield Mailbox("127.0.0.1", controller.port, "none", "shop@example.org", timeout=5)
    finally:
        controller.stop()


@pytest.fixture
def url(tmp_path: Path) -> str:
    """The address of a database file."""
    return f"sqlite:///{tmp_path / 'shop.sqlite3'}"


@pytest.fixture
def counter(url: str) -> Iterator[Counter]:
    """A shop on the first of September with one racquet due on the fourth and one draft."""
    clock = Clock()
    with open_store(url, clock=clock) as store:
        may = Counter(store, load_book(), TODAY, "anna")
        _bring_due(may, MAYA.name or "")
        clock.day = SEPTEMBER
        here = replace(may, today=SEPTEMBER)
        draft_reminders(here)
        yield here


def _bring_due(counter: Counter, name: str, **parts: Any) -> str:
    from dialogue.counter.bench import Strung, log_strung  # noqa: PLC0415
    from dialogue.counter.pickup import hand_over  # noqa: PLC0415

    tag = tag_of(bring(counter, new_customer=replace(MAYA, name=name, **parts)))
    need(log_strung(counter, Strung(tag=tag)))
    need(hand_over(counter, tag))
    return tag


def states(counter: Counter) -> list[str]:
    """Return how far every reminder has come."""
    return [one.reminder.state for one in list_reminders(counter).reminders]


def test_a_reminder_arrives_once(counter: Counter, mailbox: Mailbox, post: Post) -> None:
    """With its text, its kept message id, and a mark that no person wrote it; a second round sends nothing."""
    done = send_reminders(counter, mailbox, NOON)
    (letter,) = post.letters
    assert len(done.sent) == 1
    assert (letter["To"], letter["From"], letter["Subject"]) == (
        "maya@example.org",
        "shop@example.org",
        "Your strings are due",
    )
    body = letter.get_body()
    assert body is not None
    reminder = list_reminders(counter).reminders[0].reminder
    assert body.get_content().replace("\r\n", "\n").strip() == reminder.text.strip()
    assert letter["Message-ID"] == f"<{reminder.message_id}@example.org>"
    assert letter["Auto-Submitted"] == "auto-generated"
    assert letter["Date"].datetime == NOON
    assert (reminder.state, reminder.attempts) == ("sent", 1)
    again = send_reminders(counter, mailbox, NOON + dt.timedelta(days=1))
    assert (again.sent, len(post.letters)) == ((), 1)


def test_nothing_goes_out_in_the_quiet_hours(counter: Counter, mailbox: Mailbox, post: Post) -> None:
    """It waits for the morning, and then goes."""
    night = NOON.replace(hour=21)
    done = send_reminders(counter, mailbox, night)
    assert done.quiet_until == NOON.replace(day=2, hour=8)
    assert (done.sent, post.letters) == ((), [])
    assert send_reminders(counter, mailbox, NOON.replace(day=2, hour=7)).sent == ()
    assert len(send_reminders(counter, mailbox, NOON.replace(day=2, hour=8)).sent) == 1
    assert len(post.letters) == 1


def test_a_busy_server_is_tried_again_later_and_later(counter: Counter, mailbox: Mailbox, post: Post) -> None:
    """Pauses double from ten minutes on; after five attempts a person is asked."""
    post.answer_to_data = "451 busy"
    moment, pauses = NOON - dt.timedelta(hours=3), []
    for _ in range(4):
        assert len(send_reminders(counter, mailbox, moment).later) == 1
        nexts = list_reminders(counter).reminders[0].reminder.next_try_at
        assert nexts is not None
        pauses.append((nexts - moment).total_seconds() / 60)
        assert send_reminders(counter, mailbox, nexts - dt.timedelta(minutes=1)).later == ()
        moment = nexts.astimezone(NOON.tzinfo)
    assert pauses == [10, 20, 40, 80]
    assert len(send_reminders(counter, mailbox, moment).failed) == 1
    assert states(counter) == ["failed"]
    assert list_reminders(counter).reminders[0].reminder.error == "451 busy"


def test_a_server_that_recovers_gets_the_same_message_id(counter: Counter, mailbox: Mailbox, post: Post) -> None:
    """Nothing is lost by an hour without a server."""
    dead = replace(mailbox, port=_free_port())
    assert len(send_reminders(counter, dead, NOON).later) == 1
    before = list_reminders(counter).reminders[0].reminder.message_id
    assert len(send_reminders(counter, mailbox, NOON + dt.timedelta(minutes=11)).sent) == 1
    assert post.letters[0]["Message-ID"] == f"<{before}@example.org>"


def _free_port() -> int:
    with contextlib.closing(socket.socket()) as free:
        free.bind(("127.0.0.1", 0))
        return int(free.getsockname()[1])


def test_an_address_that_is_refused_is_left_to_a_person(counter: Counter, mailbox: Mailbox, post: Post) -> None:
    """A second attempt would not help."""
    post.answer_to_address = "550 no such mailbox"
    assert len(send_reminders(counter, mailbox, NOON).failed) == 1
    assert states(counter) == ["failed"]
    assert post.letters == []


def test_when_the_answer_never_comes_it_is_not_sent_again(counter: Counter, mailbox: Mailbox, post: Post) -> None:
    """The server had the whole message: only a person can find out; nothing is sent twice meanwhile."""
    post.hang_up = True
    done = send_reminders(counter, mailbox, NOON)
    assert (len(done.uncertain), len(post.letters)) == (1, 1)
    post.hang_up = False
    later = send_reminders(counter, mailbox, NOON + dt.timedelta(hours=1))
    assert (later.sent, later.interrupted, len(post.letters)) == ((), done.uncertain, 1)
    key = list_reminders(counter).reminders[0].reminder.id
    settle_reminder(counter, key, sent=True)
    assert states(counter) == ["sent"]


def test_a_crash_between_sending_and_marking_sends_nothing_twice(
    counter: Counter, mailbox: Mailbox, post: Post
) -> None:
    """The mark is not there, but the claim is: the next round names it and leaves it alone."""

    def crash_after(box: Mailbox, letter: Letter) -> Delivery:
        assert send_mail(box, letter).fate == Fate.ACCEPTED
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        send_reminders(counter, mailbox, NOON, send=crash_after)
    assert (states(counter), len(post.letters)) == (["sending"], 1)
    later = send_reminders(counter, mailbox, NOON + dt.timedelta(hours=2))
    assert (later.sent, len(later.interrupted), len(post.letters)) == ((), 1, 1)


CRASHING = """
import datetime as dt, os, signal, sys
from assistant.mail import Mailbox, send_mail
from assistant.reminders import send_reminders
from dialogue.counter.counter import Counter
from rules.rulebook import load_book
from storage.database import open_store

def die(box, letter):
    if sys.argv[3] == "after":
        send_mail(box, letter)
    os.kill(os.getpid(), signal.SIGKILL)

with open_store(sys.argv[1]) as store:
    counter = Counter(store, load_book(), dt.date(2026, 9, 1), "anna")
    box = Mailbox("127.0.0.1", int(sys.argv[2]), "none", "shop@example.org")
    send_reminders(counter, box, dt.datetime.fromisoformat("2026-09-01T12:00:00+02:00"), send=die)
"""


@pytest.mark.parametrize(("when", "arrived"), [("before", 0), ("after", 1)])
def test_a_killed_program_leaves_it_to_a_person(  # noqa: PLR0913, PLR0917 - everything on the way of a message
    counter: Counter, mailbox: Mailbox, post: Post, url: str, when: str, arrived: int
) -> None:
    """Killed before or after handing over: the claim was on disk, so no later round sends it by itself."""
    done = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(CRASHING), url, str(mailbox.port), when],
        check=False,
        cwd=ROOT,
        env={**os.environ, "PYTHONPATH": str(ROOT)},
        timeout=60,
    )
    assert done.returncode == -signal.SIGKILL
    assert (states(counter), len(post.letters)) == (["sending"], arrived)
    later = send_reminders(counter, mailbox, NOON + dt.timedelta(hours=2))
    assert (later.sent, len(later.interrupted), len(post.letters)) == ((), 1, arrived)
    key = list_reminders(counter).reminders[0].reminder.id
    assert settle_reminder(counter, key, sent=False).state == "failed"


def test_two_rounds_at_once_send_each_reminder_once(counter: Counter, mailbox: Mailbox, post: Post, url: str) -> None:
    """Twelve reminders, three workers on connections of their own, twelve letters."""
    may = replace(counter, today=TODAY)
    for number in range(11):
        _bring_due(may, f"Player {number}", email=f"p{number}@example.org")
    draft_reminders(counter)

    def work() -> None:
        with open_store(url) as store:
            send_reminders(replace(counter, store=store), mailbox, NOON)

    workers = [threading.Thread(target=work) for _ in range(3)]
    for worker in workers:
        worker.start()
    for worker in workers:
        worker.join(60)
    assert len(post.letters) == 12
    assert len({letter["To"] for letter in post.letters}) == 12
    assert set(states(counter)) == {"sent"}


def test_letters_of_every_alphabet_and_lines_of_dots_arrive_whole(mailbox: Mailbox, post: Post) -> None:
    """Dots at a line's beginning are doubled on the way (RFC 5321, 4.5.2) and single on arrival."""
    text = "Zo\u00eb \u2014 \u7279\u88fd\n.\n..two dots\nlast line without an end"
    letter = Letter("zoe@example.org", "F\u00e4llig", text, "abc", NOON)
    assert send_mail(mailbox, letter).fate == Fate.ACCEPTED
    (arrived,) = post.letters
    body = arrived.get_body()
    assert body is not None
    assert body.get_content().replace("\r\n", "\n").rstrip("\n") == text
    assert arrived["Subject"] == "F\u00e4llig"


@pytest.mark.parametrize(
    "address", ["a@example.org\nBcc: b@example.org", "a@example.org\r\n", "z\u00f6e@example.org", ""]
)
def test_an_address_no_header_may_hold_is_never_sent(mailbox: Mailbox, post: Post, address: str) -> None:
    """No second header gets in, and nothing is tried again."""
    assert send_mail(mailbox, Letter(address, "s", "t", "id", NOON)).fate == Fate.NEVER
    assert post.letters == []


def test_a_password_never_crosses_an_open_line(mailbox: Mailbox, post: Post) -> None:
    """A server elsewhere must offer STARTTLS before anything is sent."""
    box = replace(mailbox, security="starttls", user="shop", password="secret")  # noqa: S106
    delivery = send_mail(box, Letter("a@example.org", "s", "t", "id", NOON))
    assert (delivery.fate, post.letters) == (Fate.LATER, [])
    assert "secret" not in repr(box)


def test_the_mail_server_is_read_from_the_environment() -> None:
    """Plain only on this machine; encrypted elsewhere."""
    sender = {"COUNTERPULL_MAIL_FROM": "Shop <shop@example.org>"}

    def box(address: str, **more: str) -> Mailbox:
        found = read_mailbox({"COUNTERPULL_SMTP": address, **sender, **more})
        assert found is not None
        return found

    assert read_mailbox({}) is None
    here = box("smtp://localhost:2525")
    assert (here.host, here.port, here.security, here.sender) == ("localhost", 2525, "none", "shop@example.org")
    away = box("smtp://us%40er@mail.example.org", COUNTERPULL_SMTP_PASSWORD="x")  # noqa: S106
    assert (away.port, away.security, away.user, away.password) == (587, "starttls", "us@er", "x")
    assert (box("smtps://mail.example.org").port, box("smtps://mail.example.org").security) == (465, "tls")
    bad: list[Callable[[], object]] = [
        lambda: box("mail.example.org"),
        lambda: box("http://mail.example.org"),
        lambda: box("smtp://host:notaport"),
        lambda: read_mailbox({"COUNTERPULL_SMTP": "smtp://localhost"}),
    ]
    for read in bad:
        with pytest.raises(CommandError):
            read()


def test_the_message_id_has_a_domain_whatever_the_sender() -> None:
    """Only letters a domain may have."""
    box = Mailbox("h", 25, "none", "shop@ex_ample>.org")
    assert (
        write_message(Letter("a@b.c", "s", "t", "id1", NOON), replace(box, sender="shop@example.org"))["Message-ID"]
        == "<id1@example.org>"
    )
