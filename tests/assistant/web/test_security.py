"""What holds for every answer: headers, hosts, faults without their inside, nothing private in logs or addresses."""

from __future__ import annotations

import logging
import re
from contextlib import ExitStack
from dataclasses import replace
from pathlib import Path

import httpx
import pytest

from assistant.channels.web.shop import Shop
from assistant.channels.web.throttle import Throttle
from assistant.channels.web.wording import Throttling, throttling
from dialogue.messages import Message, Reply
from storage.errors import StoreUnusable
from tests.assistant.web.running_shop import NAME, PIN, Visitor, real_shop, running, with_turn

PLACES = ("/", "/racquet", "/nothing/here", "/board/sign-in", "/static/kiosk.js", "/static/none.js")


@pytest.mark.parametrize("path", PLACES)
def test_every_answer_carries_the_headers(base: str, path: str) -> None:
    """Found or not, page or file: nothing inline, nothing from elsewhere, in nobody's frame."""
    headers = httpx.get(f"{base}{path}").headers
    policy = headers["content-security-policy"]
    assert "default-src 'none'" in policy
    assert "script-src 'self'" in policy
    assert "unsafe" not in policy
    assert "http" not in policy
    assert "frame-ancestors 'none'" in policy
    assert headers["x-content-type-options"] == "nosniff"
    assert headers["x-frame-options"] == "DENY"
    assert headers["referrer-policy"] == "same-origin"
    assert "server" not in headers


def test_pages_are_kept_by_no_cache(visitor: Visitor) -> None:
    """Nobody finds the last customer's page with the back button; files may be kept and are asked for again."""
    assert visitor.look("/").headers["cache-control"] == "no-store"
    file = visitor.client.get("/static/screen.css")
    assert file.headers["cache-control"] == "no-cache"
    assert visitor.client.get("/static/screen.css", headers={"If-None-Match": file.headers["etag"]}).status_code == 304


def test_no_page_holds_inline_script_or_style_or_another_address(visitor: Visitor, staff: Visitor) -> None:
    """The policy would break them; so would a shop without the internet."""
    pages = [visitor.look("/").text, visitor.say("for fun, twice a week, full bed of polyester, strung in june").text]
    pages += [staff.look(path).text for path in ("/board/", "/board/job/3", "/board/customer/6", "/board/drop-off")]
    for page in pages:
        assert not re.search(r"<script(?![^>]*\ssrc=\"/static/)", page)
        assert not re.search(r"\sstyle=|<style|\son\w+=|javascript:", page)
        assert not re.search(r"(?:src|href|action)=\"(?!/|#)", page)


@pytest.mark.parametrize("host", ["evil.example", "evil.example:80", "127.0.0.1.evil.example", "", "[::1"])
def test_a_name_that_is_not_this_server_s_is_not_served(base: str, host: str) -> None:
    """Else another site's name, led here, could read the pages."""
    answer = httpx.get(f"{base}/", headers={"Host": host})
    assert answer.status_code in {400, 421}
    assert "When should I restring?" not in answer.text


@pytest.mark.parametrize("host", ["localhost:8080", "127.0.0.1", "[::1]:8080", "192.168.1.20:8080"])
def test_its_own_names_and_any_number_are_served(base: str, host: str) -> None:
    """A number cannot be led elsewhere."""
    assert httpx.get(f"{base}/", headers={"Host": host}).status_code == 200


@pytest.mark.parametrize("method", ["PUT", "DELETE", "PATCH", "OPTIONS", "TRACE"])
def test_other_methods_do_nothing(base: str, method: str) -> None:
    """They are answered with a plain page."""
    answer = httpx.request(method, f"{base}/talk")
    assert answer.status_code in {403, 404, 405}


@pytest.mark.parametrize(
    "path", ["/static/../app.py", "/static/%2e%2e/app.py", "/static/..%2fapp.py", "/static//etc/passwd"]
)
def test_no_file_outside_the_folder_is_sent(base: str, path: str) -> None:
    """Only the names that are there can be asked for."""
    answer = httpx.get(f"{base}{path}")
    assert answer.status_code == 404
    assert "import" not in answer.text


def test_a_fault_shows_nothing_of_its_inside_and_logs_no_words(shop: Shop, caplog: pytest.LogCaptureFixture) -> None:
    """The page is plain; the log has the kind of the error and the route, not what was said."""

    def break_down(message: Message) -> list[Reply]:
        raise RuntimeError(f"secret {message.text}")

    with caplog.at_level(logging.DEBUG), running(with_turn(shop, break_down)) as base, Visitor(base) as visitor:
        visitor.look("/")
        answer = visitor.say("my name is Maya Okoro")
        assert answer.status_code == 500
        assert visitor.heading == "Something went wrong"
        for inside in ("Traceback", "RuntimeError", "secret", "Maya"):
            assert inside not in answer.text
        assert visitor.look("/").status_code == 200
    assert "error=RuntimeError" in caplog.text
    assert "Maya" not in caplog.text


def test_nothing_private_is_logged_or_in_an_address(
    shop: Shop, caplog: pytest.LogCaptureFixture, capfd: pytest.CaptureFixture[str]
) -> None:
    """A whole visit and a look at a card leave no name, number, PIN or words behind."""
    seen: list[str] = []
    with caplog.at_level(logging.DEBUG), running(shop) as base, Visitor(base) as visitor, Visitor(base) as staff:
        for one in (visitor, staff):
            one.client.event_hooks["request"].append(lambda request: seen.append(str(request.url)))
        visitor.look("/")
        visitor.say("for fun, twice a week, full bed of polyester, strung in june")
        visitor.look("/racquet")
        visitor.send("/racquet", name="Tobias Wren", tail="0117")
        staff.sign_in()
        staff.send("/board/find", said="Tobias Wren")
        staff.look("/board/due")
    captured = capfd.readouterr()
    logged = " ".join(
        record.getMessage()
        for record in caplog.records
        if record.name.split(".")[0] in {"sanic", "assistant", "dialogue"}
    )
    for private in ("Tobias", "Wren", "0117", PIN, NAME, "polyester, strung"):
        assert private not in logged + captured.out + captured.err
        assert private.replace(" ", "+") not in " ".join(seen)


@pytest.mark.parametrize(
    ("body", "kind"),
    [
        (b"text=\xff", "application/x-www-form-urlencoded"),
        (b'{"text": "hello"}', "application/json"),
        (b"text=hello", "multipart/form-data"),
        (b"text=hello", "multipart/form-data; boundary=x"),
        (b"text=hello", "text/plain"),
    ],
)
def test_a_body_that_is_no_form_is_refused_without_a_traceback(
    visitor: Visitor, capfd: pytest.CaptureFixture[str], body: bytes, kind: str
) -> None:
    """On the page and in the log."""
    visitor.look("/")
    answer = visitor.client.post("/talk", content=body, headers={"Content-Type": kind})
    assert answer.status_code == 400
    captured = capfd.readouterr()
    assert "Traceback" not in answer.text + captured.out + captured.err


def test_a_broken_database_is_told_as_one(shop: Shop) -> None:
    """503, and nothing of which database."""

    def break_down(_: Message) -> list[Reply]:
        raise StoreUnusable("/private/place.sqlite3", "locked", "/private/place.sqlite3 is locked")

    with running(with_turn(shop, break_down)) as base, Visitor(base) as visitor:
        visitor.look("/")
        assert visitor.say("hello").status_code == 503
        assert "private" not in visitor.page.text


def test_too_many_turns_wait(shop: Shop) -> None:
    """A script at the kiosk is slowed down; a person never gets there."""
    quick = replace(shop, turn=lambda _: [Reply(text=("And?",))])
    with running(quick) as base, Visitor(base) as visitor:
        visitor.look("/")
        codes = [visitor.say("hello").status_code for _ in range(60)]
        assert set(codes) == {200}
        token = visitor.token
        last = visitor.client.post("/talk", data={"token": token, "text": "hello"})
        assert last.status_code == 429


def test_a_throttle_counts_within_its_span_only() -> None:
    """The third attempt within ten seconds waits until the first is ten seconds old."""
    now = [0.0]
    throttle = Throttle(Throttling(2, 10), clock=lambda: now[0])
    throttle.count("a")
    now[0] = 4
    throttle.count("a")
    assert throttle.wait("a") == 7
    assert throttle.wait("b") == 0
    now[0] = 10.5
    assert throttle.wait("a") == 0
    throttle.count("a")
    assert throttle.wait("a") > 0


def test_the_package_carries_every_file_it_serves() -> None:
    """No address of another machine stands in a file that the browser loads."""
    folder = Path(__file__).parents[3] / "assistant/channels/web/static"
    for path in folder.iterdir():
        text = path.read_text("utf-8").replace("http://www.w3.org/2000/svg", "")
        assert not re.search(r"https?://(?!\$)|//[a-z0-9-]+\.[a-z]{2,}/", text), path.name


def test_two_workers_let_nobody_guess_twice_as_often(club: Path) -> None:
    """PINs tried in turn at two servers of one database are counted together, right or wrong."""
    limit = throttling("pin_by_address").attempts
    with ExitStack() as stack:
        bases = [stack.enter_context(running(stack.enter_context(real_shop(club)))) for _ in range(2)]
        one, other = (stack.enter_context(Visitor(base)) for base in bases)
        codes = [(one, other)[n % 2].sign_in(pin=f"{n:06}").status_code for n in range(limit)]
        assert set(codes) == {422}
        assert {visitor.sign_in().status_code for visitor in (one, other)} == {429}


def test_who_signed_out_at_one_worker_is_out_at_every_other(club: Path) -> None:
    """A cookie somebody copied beforehand opens nothing any more."""
    secret = b"one secret for both workers, 32 bytes"
    with ExitStack() as stack:
        bases = [stack.enter_context(running(stack.enter_context(real_shop(club, secret=secret)))) for _ in range(2)]
        one, other = (stack.enter_context(Visitor(base)) for base in bases)
        one.sign_in()
        copied = one.client.cookies["staff"]
        other.client.cookies.set("staff", copied, path="/board")
        assert other.client.get("/board/", follow_redirects=False).status_code == 200
        one.look("/board/")
        one.send("/board/sign-out")
        other.client.cookies.clear()
        other.client.cookies.set("staff", copied, path="/board")
        assert other.client.get("/board/", follow_redirects=False).status_code == 303


def test_two_workers_bring_up_no_more_racquets_than_one(club: Path) -> None:
    """Nor the ends of phone numbers and tags."""
    limit = throttling("racquet").attempts
    with ExitStack() as stack:
        bases = [stack.enter_context(running(stack.enter_context(real_shop(club)))) for _ in range(2)]
        visitors = [stack.enter_context(Visitor(base)) for base in bases]
        codes = []
        for n in range(limit + 2):
            visitor = visitors[n % 2]
            visitor.look("/racquet")
            codes.append(visitor.send("/racquet", name="Tobias Wren", tail=f"{n:04}").status_code)
        assert codes == [422] * limit + [429] * 2
