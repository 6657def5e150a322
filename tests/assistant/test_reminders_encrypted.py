"""Reminders over STARTTLS to a real mail server on loopback: encrypted and believed, or not sent at all."""

from __future__ import annotations

import contextlib
import datetime as dt
import socket
import ssl
import subprocess
from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import pytest
from aiosmtpd.controller import Controller
from aiosmtpd.smtp import SMTP, AuthResult, Envelope, Session

from assistant.mail import Mailbox
from assistant.reminders import send_reminders
from dialogue.counter.counter import Counter
from dialogue.counter.reminders import list_reminders
from tests.assistant.test_reminders import NOON, Post, counter, states, url

__all__ = ["counter", "url"]
PASSWORD = "hollow linden"  # noqa: S105 - of the test's own server


class Guarded(Post):
    """A mail server's memory that also notes over what line each message and each sign-in came."""

    def __init__(self) -> None:
        super().__init__()
        self.encrypted: list[bool] = []
        self.sign_ins: list[bytes] = []

    async def handle_DATA(self, server: SMTP, session: Session, envelope: Envelope) -> str:  # noqa: N802
        """Note whether the line is encrypted, and take the message."""
        self.encrypted.append(session.ssl is not None)
        return await super().handle_DATA(server, session, envelope)

    def sign_in(self, _: SMTP, __: Session, ___: Envelope, ____: str, given: Any) -> AuthResult:
        """Take the test's own password only."""
        self.sign_ins.append(given.password)
        return AuthResult(success=given.password == PASSWORD.encode())


@dataclass(frozen=True)
class Certificate:
    """A self-signed certificate on disk."""

    key: Path
    path: Path

    def context(self) -> ssl.SSLContext:
        """Return how a server shows it."""
        context = ssl.create_default_context(ssl.Purpose.CLIENT_AUTH)
        context.load_cert_chain(self.path, self.key)
        return context


def make_certificate(folder: Path, host: str = "IP:127.0.0.1") -> Certificate:
    """Return a new self-signed certificate for a host, made by openssl."""
    made = Certificate(folder / f"{host[-3:]}.key", folder / f"{host[-3:]}.pem")
    command = ["openssl", "req", "-x509", "-newkey", "rsa:2048", "-nodes", "-days", "2", "-subj", "/CN=shop"]
    command += ["-addext", f"subjectAltName={host}", "-keyout", str(made.key), "-out", str(made.path)]
    subprocess.run(command, check=True, capture_output=True, timeout=60)
    return made


@contextmanager
def serve(post: Guarded, certificate: Certificate | None) -> Iterator[Mailbox]:
    """Run a mail server on loopback that demands STARTTLS, or, without a certificate, offers none."""
    with contextlib.closing(socket.socket()) as taken:
        taken.bind(("127.0.0.1", 0))
        port = taken.getsockname()[1]
    guarded: dict[str, Any] = {}
    if certificate:
        guarded = {"tls_context": certificate.context(), "require_starttls": True, "authenticator": post.sign_in}
    controller = Controller(post, hostname="127.0.0.1", port=port, **guarded)
    controller.start()
    try:
        yield Mailbox("127.0.0.1", port, "starttls", "shop@example.org", user="shop", password=PASSWORD, timeout=5)
    finally:
        controller.stop()


def later(hours: int) -> dt.datetime:
    """Return so many hours after noon."""
    return NOON + dt.timedelta(hours=hours)


def test_a_reminder_goes_out_once_over_an_encrypted_line(
    counter: Counter, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """The server's certificate is believed because its file is named; the password crosses encrypted only."""
    certificate, post = make_certificate(tmp_path), Guarded()
    monkeypatch.setenv("SSL_CERT_FILE", str(certificate.path))
    with serve(post, certificate) as mailbox:
        done = send_reminders(counter, mailbox, NOON)
        again = send_reminders(counter, mailbox, later(2))
    assert (len(done.sent), again.sent, done.because) == (1, (), "")
    assert (len(post.letters), post.encrypted, post.sign_ins) == (1, [True], [PASSWORD.encode()])
    assert states(counter) == ["sent"]


def test_a_server_that_demands_encryption_gets_nothing_over_an_open_line(counter: Counter, tmp_path: Path) -> None:
    """Its refusal leaves the reminder to a person, with what it said."""
    post = Guarded()
    with serve(post, make_certificate(tmp_path)) as mailbox:
        done = send_reminders(counter, replace(mailbox, security="none", user=None), NOON)
    assert (len(done.failed), post.letters, states(counter)) == (1, [], ["failed"])
    assert "STARTTLS" in (list_reminders(counter).reminders[0].reminder.error or "")


def test_without_starttls_nothing_is_sent_until_there_is(
    counter: Counter, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    """However often it is tried, the reminder waits; once the server offers encryption it goes out, once."""
    post = Guarded()
    with serve(post, None) as mailbox:
        rounds = [send_reminders(counter, mailbox, later(hours)) for hours in (0, 1, 2, 4, 7)]
    assert [len(done.later) for done in rounds] == [1] * len(rounds)
    assert all("offers no encryption (STARTTLS)" in done.because for done in rounds)
    assert (post.letters, post.sign_ins, states(counter)) == ([], [], ["queued"])
    certificate = make_certificate(tmp_path)
    monkeypatch.setenv("SSL_CERT_FILE", str(certificate.path))
    with serve(post, certificate) as mailbox:
        sent = [send_reminders(counter, mailbox, NOON + dt.timedelta(days=days)).sent for days in (1, 2)]
    assert [len(tags) for tags in sent] == [1, 0]
    assert (len(post.letters), states(counter)) == (1, ["sent"])


@pytest.mark.parametrize(
    ("host", "authorities", "said"),
    [
        ("IP:127.0.0.1", "another.pem", "self-signed certificate"),
        ("DNS:mail.example.org", "own.pem", "not valid for '127.0.0.1'"),
    ],
)
def test_a_wrong_certificate_is_refused_before_anything_is_said(  # noqa: PLR0913, PLR0917
    counter: Counter, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, host: str, authorities: str, said: str
) -> None:
    """Nobody vouches for it, or it is another server's: no password, no message, and the reminder waits."""
    certificate, post = make_certificate(tmp_path, host), Guarded()
    (tmp_path / "own.pem").write_bytes(certificate.path.read_bytes())
    (tmp_path / "another.pem").write_bytes(make_certificate(tmp_path, "IP:127.0.0.2").path.read_bytes())
    monkeypatch.setenv("SSL_CERT_FILE", str(tmp_path / authorities))
    with serve(post, certificate) as mailbox:
        done = send_reminders(counter, mailbox, NOON)
    assert (len(done.later), done.sent, post.letters, post.sign_ins) == (1, (), [], [])
    assert "certificate that cannot be trusted" in done.because
    assert said in done.because
    assert states(counter) == ["queued"]
    assert PASSWORD not in str(list_reminders(counter).to_dict())
