"""One e-mail to one mail server, and exactly what is known of its fate afterwards; keeps nothing."""

from __future__ import annotations

import contextlib
import os
import re
import smtplib
import ssl
from collections.abc import Mapping
from dataclasses import dataclass, field
from email.message import EmailMessage
from email.policy import SMTP
from email.utils import format_datetime, parseaddr
from enum import StrEnum
from typing import TYPE_CHECKING
from urllib.parse import unquote, urlsplit

from assistant.exits import CommandError

if TYPE_CHECKING:
    import datetime as dt

SERVER = "COUNTERPULL_SMTP"
PASSWORD = "COUNTERPULL_SMTP_PASSWORD"  # noqa: S105 - the name of a setting
SENDER = "COUNTERPULL_MAIL_FROM"
TIMEOUT = 20.0
"""Seconds a server may take for one answer."""
HERE = ("localhost", "127.0.0.1", "::1")
GO_AHEAD, TAKEN, REFUSED, PERMANENT = 354, 250, 400, 500
"""Answers of a server and the least that refuse, for now and for good (RFC 5321, 4.2.1)."""


class Problem(StrEnum):
    """Why nothing can go out until a person has changed something; the key of its sentence."""

    NO_STARTTLS = "no_starttls"
    CERTIFICATE = "certificate"


class Fate(StrEnum):
    """What became of a message."""

    ACCEPTED = "accepted"
    """The server took it and answers for it from now on."""
    LATER = "later"
    """It surely did not go out; another attempt may help."""
    NEVER = "never"
    """It surely did not go out, and will not."""
    UNCERTAIN = "uncertain"
    """The connection broke between the message and the answer: nobody here can know."""


@dataclass(frozen=True)
class Mailbox:
    """The mail server and the address that messages come from."""

    host: str
    port: int
    security: str
    """tls from the first byte, starttls, or none, which is for a server on this very machine alone."""
    sender: str
    user: str | None = None
    password: str | None = field(default=None, repr=False)
    timeout: float = TIMEOUT


@dataclass(frozen=True)
class Delivery:
    """The fate of a message and what the server said."""

    fate: Fate
    said: str = ""
    problem: Problem | None = None


def read_mailbox(environment: Mapping[str, str] = os.environ) -> Mailbox | None:
    """Return the mail server of the settings, None where none is set.

    COUNTERPULL_SMTP is smtp://user@host:port (encrypted by STARTTLS, but for a server on this machine) or
    smtps://user@host:port (encrypted from the start); COUNTERPULL_SMTP_PASSWORD the password;
    COUNTERPULL_MAIL_FROM the sender's address.

    Raises:
        CommandError: when they cannot be used together.
    """
    address = environment.get(SERVER)
    if not address:
        return None
    try:
        parts = urlsplit(address)
        host, port = parts.hostname, parts.port
    except ValueError:
        host, port = None, None
        parts = urlsplit("")
    if parts.scheme not in ("smtp", "smtps") or not host:
        raise CommandError(f"{SERVER} must be smtp://user@host:port or smtps://user@host:port.")
    sender = parseaddr(environment.get(SENDER, ""))[1]
    if "@" not in sender:
        raise CommandError(f"{SENDER} must name the address that messages come from.")
    tls = parts.scheme == "smtps"
    security = "tls" if tls else "none" if host in HERE else "starttls"
    return Mailbox(
        host=host,
        port=port or (465 if tls else 587),
        security=security,
        sender=sender,
        user=unquote(parts.username) if parts.username else None,
        password=environment.get(PASSWORD),
    )


@dataclass(frozen=True)
class Letter:
    """What is to be sent."""

    to: str
    subject: str
    text: str
    message_id: str
    """Made once a reminder and kept: a receiver can tell a second attempt from a second message by it."""
    moment: dt.datetime


def write_message(letter: Letter, mailbox: Mailbox) -> EmailMessage:
    """Return the letter as a message.

    Raises:
        ValueError: when an address or the subject holds what no header may.
    """
    # Letters beyond ASCII are written out, for not every server passes them on.
    message = EmailMessage(policy=SMTP.clone(cte_type="7bit"))
    if not letter.to or parseaddr(letter.to)[1] != letter.to:
        raise ValueError("not one plain address")
    message["From"] = mailbox.sender
    message["To"] = letter.to
    message["Subject"] = letter.subject
    message["Date"] = format_datetime(letter.moment)
    domain = re.sub(r"[^A-Za-z0-9.-]", "", mailbox.sender.rpartition("@")[2]) or "localhost"
    message["Message-ID"] = f"<{letter.message_id}@{domain}>"
    message["Auto-Submitted"] = "auto-generated"
    message.set_content(letter.text)
    return message


def send_mail(mailbox: Mailbox, letter: Letter) -> Delivery:
    """Hand a letter to the mail server and return its fate.

    A certificate is checked against the machine's own authorities, or those of the file that SSL_CERT_FILE names.

    What fails before the message itself was handed over surely did not go out. A connection that breaks after
    it, before the server's answer, leaves it open: SMTP has no way to ask.
    """
    try:
        message = write_message(letter, mailbox)
    except (ValueError, IndexError) as error:
        return Delivery(Fate.NEVER, _first_line(error))
    try:
        server = _connect(mailbox)
    except (smtplib.SMTPException, OSError) as error:
        return _before(error)
    try:
        return _hand_over(server, mailbox, letter, message)
    finally:
        with contextlib.suppress(smtplib.SMTPException, OSError):
            server.quit()
        server.close()


def _connect(mailbox: Mailbox) -> smtplib.SMTP:
    context = ssl.create_default_context()
    if mailbox.security == "tls":
        server: smtplib.SMTP = smtplib.SMTP_SSL(mailbox.host, mailbox.port, timeout=mailbox.timeout, context=context)
    else:
        server = smtplib.SMTP(mailbox.host, mailbox.port, timeout=mailbox.timeout)
    try:
        if mailbox.security == "starttls":
            server.starttls(context=context)
        if mailbox.user and mailbox.password:
            server.login(mailbox.user, mailbox.password)
        else:
            server.ehlo_or_helo_if_needed()
    except BaseException:
        server.close()
        raise
    return server


def _hand_over(server: smtplib.SMTP, mailbox: Mailbox, letter: Letter, message: EmailMessage) -> Delivery:
    try:
        code, said = server.mail(mailbox.sender)
        if code < REFUSED:
            code, said = server.rcpt(letter.to)
        if code < REFUSED:
            code, said = server.docmd("DATA")
        if code != GO_AHEAD:
            return _answered(code, said)
    except UnicodeError as error:
        return Delivery(Fate.NEVER, _first_line(error))
    except (smtplib.SMTPException, OSError) as error:
        return _before(error)
    try:
        server.send(_as_data(message))
        code, said = server.getreply()
    except (smtplib.SMTPException, OSError) as error:
        return Delivery(Fate.UNCERTAIN, _first_line(error))
    if code == TAKEN:
        return Delivery(Fate.ACCEPTED, said.decode(errors="replace")[:200])
    return _answered(code, said)


def _as_data(message: EmailMessage) -> bytes:
    """Return the message with its lines ended and its dots doubled as DATA wants them (RFC 5321, 4.5.2)."""
    lines = message.as_bytes().replace(b"\r\n", b"\n").rstrip(b"\n").split(b"\n")
    return b"".join((b"." if line.startswith(b".") else b"") + line + b"\r\n" for line in lines) + b".\r\n"


def _answered(code: int, said: bytes) -> Delivery:
    fate = Fate.NEVER if code >= PERMANENT else Fate.LATER
    return Delivery(fate, f"{code} {said.decode(errors='replace')[:200]}")


def _before(error: smtplib.SMTPException | OSError) -> Delivery:
    """Return the fate of a message that was never handed over."""
    if isinstance(error, smtplib.SMTPAuthenticationError):
        return Delivery(Fate.LATER, f"{error.smtp_code} sign-in refused")
    if isinstance(error, ssl.SSLCertVerificationError):
        return Delivery(Fate.LATER, error.verify_message, Problem.CERTIFICATE)
    if isinstance(error, smtplib.SMTPNotSupportedError):
        return Delivery(Fate.LATER, _first_line(error), Problem.NO_STARTTLS)
    return Delivery(Fate.LATER, _first_line(error))


def _first_line(error: Exception) -> str:
    return (str(error).strip().splitlines() or [type(error).__name__])[0][:200]
