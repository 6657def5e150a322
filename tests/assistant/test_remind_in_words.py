"""What `remind` says in plain words after a round with a real mail server on loopback."""

from __future__ import annotations

import contextlib
import csv
import io
import socket
from collections.abc import Iterator
from pathlib import Path

import pytest
from aiosmtpd.controller import Controller

from tests.assistant.in_process import Shell, open_shell
from tests.assistant.test_reminders import Post

MAY, SEPTEMBER = "2026-05-04", "2026-09-01"
NOON = ("--at", "12:00")
STRUNG = ("--frame", "sound", "--mains", "synthetic_gut", "--tension", "54")
MAYA = ("--name", "Maya Okoro", "--email", "maya@club.example", "--level", "recreational", "--plays", "3", "--consent")


@pytest.fixture
def post() -> Post:
    """A mail server's memory."""
    return Post()


@pytest.fixture
def server(post: Post) -> Iterator[str]:
    """The address of a real mail server on loopback."""
    with contextlib.closing(socket.socket()) as free:
        free.bind(("127.0.0.1", 0))
        port = free.getsockname()[1]
    controller = Controller(post, hostname="127.0.0.1", port=port)
    controller.start()
    try:
        yield f"smtp://127.0.0.1:{port}"
    finally:
        controller.stop()


@pytest.fixture
def shell(server: str, tmp_path: Path, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]) -> Shell:
    """A shell on 1 September, whose shop has a mail server."""
    monkeypatch.setenv("COUNTERPULL_SMTP", server)
    monkeypatch.setenv("COUNTERPULL_MAIL_FROM", "shop@example.org")
    return open_shell(tmp_path, monkeypatch, capsys, today=SEPTEMBER)


@pytest.fixture
def tag(shell: Shell) -> str:
    """The tag of Maya's racquet, strung in May for four months, collected; she agreed to be told."""
    found = str(shell("job", "add", *MAYA, *STRUNG, "--json", today=MAY).json["job"]["tag"])
    for step in ("strung", "collect"):
        assert shell("job", step, found, today=MAY).code == 0
    assert "1 reminder drafted." in shell("remind", "draft").out
    return found


def test_a_round_tells_how_many_went_out(shell: Shell, tag: str, post: Post) -> None:
    """One letter, once: the next round sends none, and the list says that it was sent."""
    assert shell("remind", "list").out == f"1  draft  Maya Okoro  {tag}  due 4 September 2026\n"
    assert shell("remind", "send", *NOON).out == "1 reminder sent.\n"
    assert [letter["To"] for letter in post.letters] == ["maya@club.example"]
    assert shell("remind", "send", *NOON).out == "0 reminders sent.\n"
    assert shell("remind", "list", "--state", "sent").out == f"1  sent  Maya Okoro  {tag}  due 4 September 2026\n"
    assert shell("remind", "list", "--state", "draft").out == "Nothing.\n"


@pytest.mark.usefixtures("tag")
def test_nothing_goes_out_in_quiet_hours(shell: Shell, post: Post) -> None:
    """The hour at which they end is told; nobody is woken by a mail."""
    assert shell("remind", "send", "--at", "21:30").out == "Quiet hours until 08:00: nothing was sent.\n"
    quiet = shell("remind", "send", *NOON, "--quiet", "11:00-13:30")
    assert quiet.out == "Quiet hours until 13:30: nothing was sent.\n"
    assert post.letters == []


def test_a_full_mailbox_is_tried_again_and_a_refused_one_is_not(shell: Shell, tag: str, post: Post) -> None:
    """The first waits, the second is left to a person, who sees in the list why."""
    post.answer_to_address = "452 mailbox full"
    assert shell("remind", "send", *NOON).out.splitlines() == [
        "0 reminders sent.",
        "1 could not be sent and is tried again.",
    ]
    post.answer_to_address = "550 no such mailbox"
    told = shell("remind", "send", "--at", "19:00").out.splitlines()
    assert told == ["0 reminders sent.", "1 cannot be sent; see remind list."]
    listed = shell("remind", "list", "--state", "failed").out
    assert listed.startswith(f"1  failed  Maya Okoro  {tag}  due 4 September 2026  (")
    assert "no such mailbox" in listed
    (row,) = csv.DictReader(io.StringIO(shell("remind", "list", "--csv", "-").out))
    assert (row["state"], row["email"]) == ("failed", "maya@club.example")


def test_a_letter_nobody_knows_of_is_left_to_a_person(shell: Shell, tag: str, post: Post) -> None:
    """The server took it and hung up: it is not sent again, and `settle` ends it."""
    post.hang_up = True
    told = shell("remind", "send", *NOON).out.splitlines()
    assert told[1] == (
        f"Nobody knows whether these went out: {tag}. They are not sent again by themselves; "
        "settle them with remind settle."
    )
    post.hang_up = False
    later = shell("remind", "send", "--at", "19:00").out.splitlines()
    assert later[0] == "0 reminders sent."
    assert later[1].startswith(f"An earlier round was interrupted over these: {tag}.")
    assert len(post.letters) == 1
    assert shell("remind", "settle", "1", "--not-sent").out == "Reminder 1: failed.\n"


@pytest.mark.parametrize(
    ("change", "reason"),
    [
        (("customer", "change", "maya", "--no-consent"), "may not be contacted any more"),
        (("job", "add", "--customer", "maya", "--racquet", "1", *STRUNG), "restrung meanwhile"),
    ],
    ids=["consent", "restrung"],
)
def test_a_letter_that_must_not_go_any_more_is_set_aside(
    shell: Shell, tag: str, post: Post, change: tuple[str, ...], reason: str
) -> None:
    """It waited for the morning, and overnight something changed: the round says so, the list says what, in words."""
    assert "Quiet hours" in shell("remind", "send", "--at", "21:30").out
    assert shell(*change).code == 0
    morning = shell("remind", "send", *NOON, today="2026-09-02")
    assert morning.out.splitlines() == ["0 reminders sent.", "1 is not to be sent any more."]
    assert post.letters == []
    assert shell("remind", "list").out == f"1  failed  Maya Okoro  {tag}  due 4 September 2026  ({reason})\n"
    (row,) = csv.DictReader(io.StringIO(shell("remind", "list", "--csv", "-").out))
    assert row["error"] == reason


def test_a_time_or_hours_that_are_none_are_refused(shell: Shell) -> None:
    """With the way to write them."""
    for words, part in ((("--at", "25:99"), "write it as 21:30"), (("--quiet", "late"), "write them as 20:00-08:00")):
        refused = shell("remind", "send", *words)
        assert (refused.code, part in refused.err) == (2, True)
