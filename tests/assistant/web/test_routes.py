"""Every route of the server, tried as everybody who may not: nothing leaks, nothing is changed, nothing is injected."""

from __future__ import annotations

import logging
import re
from collections.abc import Iterator
from contextlib import ExitStack
from dataclasses import replace
from html.parser import HTMLParser
from pathlib import Path

import httpx
import pytest
import yaml

from assistant.bootstrap import open_counter
from assistant.channels.web.app import build_app
from assistant.channels.web.sessions import Sessions
from assistant.channels.web.shop import Shop
from assistant.demo.fill import CLUB
from dialogue.counter.staff import add_staff, retire_staff
from tests.assistant.web.routes import SOCKETS, Route, read_routes, shape_of
from tests.assistant.web.running_shop import NAME, PIN, Visitor, real_shop, running, settings_of
from tests.assistant.web.test_kiosk import tag_of, talk_through

ROUTES = read_routes()
STAFF = tuple(route for route in ROUTES if route.who == "staff")
POSTS = tuple(route for route in ROUTES if route.method == "POST" and route.who != "anybody")
CUSTOMERS = yaml.safe_load(CLUB.read_text("utf-8"))["customers"]
PRIVATE = frozenset(
    {customer["name"] for customer in CUSTOMERS}
    | {re.sub(r"\D", "", customer["phone"])[-7:] for customer in CUSTOMERS}
    | {customer["phone"] for customer in CUSTOMERS}
)
"""What nobody may see who has not signed in."""


def leaks(text: str) -> set[str]:
    """Return what of the customers stands in a text."""
    digits = re.sub(r"[^\dA-Za-z]", "", text)
    return {one for one in PRIVATE if one in text or (one.isdecimal() and one in digits)}


def ask(client: httpx.Client, route: Route, token: str | None = None, **headers: str) -> httpx.Response:
    """Ask for a route as its page would, with a token or without."""
    if route.method == "GET":
        return client.get(route.example, headers=headers, follow_redirects=False)
    form = {"text": "hello", "name": "Juniper Vale", "said": "a", "league": "x", "starts_on": "2027-01-01"}
    form = {name: value for name, value in form.items() if name in route.fields}
    given = form | ({"token": token} if token is not None else {})
    return client.post(route.example, data=given, headers=headers, follow_redirects=False)


def last_change(club: Path) -> int:
    """Return the number of the last entry in the audit trail."""
    with open_counter(settings_of(club)) as counter, counter.look() as unit:
        return unit.trail.latest(1)[0].id


def test_every_route_is_described_and_says_who_may(shop: Shop) -> None:
    """A new route must be put into openapi.yaml, and is then tried by every test here."""
    app = build_app(shop)
    there = {
        (route.name.partition(".")[2], shape_of(route.path), method)
        for route in app.router.routes
        for method in route.methods
    }
    assert there == {(route.name, route.path, route.method) for route in ROUTES}
    assert {route.who for route in ROUTES} == {"anybody", "kiosk", "staff"}
    assert all(
        route.who == "staff" for route in ROUTES if route.path.startswith("/board") and "sign-in" not in route.path
    )


class Forms(HTMLParser):
    """The fields of each form of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.fields: set[tuple[str, str]] = set()
        self._action = ""

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        """Note a form or a field of the one that is open."""
        given = dict(attrs)
        if tag == "form":
            self._action = given.get("action") or ""
        elif given.get("name") and tag in {"input", "select", "button", "textarea"}:
            self.fields.add((self._action, str(given["name"])))


def test_every_field_of_a_form_is_described(visitor: Visitor, staff: Visitor) -> None:
    """On every page of both: no field is sent that the description does not have."""
    pages = [visitor.look("/").text, visitor.look("/racquet").text]
    talk_through(visitor)
    pages.append(visitor.page.text)
    paths = [
        route.example for route in STAFF if route.method == "GET" and not route.path.endswith(("live", "taps", ".pdf"))
    ]
    pages += [
        staff.look(path).text
        for path in [*paths, "/board/job/1", "/board/job/2", "/board/drop-off?customer=2&racquet=2"]
    ]
    found = set[tuple[str, str]]()
    for page in pages:
        forms = Forms()
        forms.feed(page)
        found |= forms.fields
    assert len(found) > 40
    known = {
        (re.sub(r"\{\w+\}", "X", route.path), name)
        for route in ROUTES
        if route.method == "POST"
        for name in route.fields
    }
    known |= {("/board/sign-in", "name"), ("/board/sign-in", "pin")}
    shaped = {(re.sub(r"(?<=/job/X/)\w+", "X", re.sub(r"(?<=/)\d+", "X", action)), name) for action, name in found}
    assert shaped <= known


def cookies_of_nobody(visitor: Visitor, staff: Visitor, shop: Shop) -> Iterator[dict[str, str]]:
    """Yield what somebody may try who has no session: nothing, made up, borrowed, spoilt, signed by another."""
    cookie = staff.client.cookies["staff"]
    visitor.look("/")
    yield {}
    yield {"staff": "1.1.1.a.b"}
    yield {"staff": visitor.client.cookies["kiosk"], "kiosk": visitor.client.cookies["kiosk"]}
    yield {"staff": re.sub(r"^\d+", "2", cookie)}
    yield {"staff": cookie[:-1] + ("A" if cookie[-1] != "A" else "B")}
    yield {"staff": Sessions(b"t" * 32).begin_staff(1, "hash")[1]}
    yield {"staff": Sessions(shop.secret).begin_staff(1, "hash")[1]}


def test_nobody_without_a_session_gets_onto_the_board(
    base: str, visitor: Visitor, staff: Visitor, shop: Shop, club: Path
) -> None:
    """Page or form, by whatever cookie: led to the sign-in, with nothing of any card and nothing changed."""
    staff.look("/board/")
    token, before = staff.token, last_change(club)
    for cookies in cookies_of_nobody(visitor, staff, shop):
        with httpx.Client(base_url=base, cookies=cookies) as client:
            for route in STAFF:
                answer = ask(client, route, token)
                assert answer.status_code == 303, (route.name, cookies)
                assert answer.headers["location"] == "/board/sign-in"
                assert not leaks(answer.text)
                assert ask(client, route, token, **{"X-Part": "1"}).status_code == 401
    assert last_change(club) == before


@pytest.mark.parametrize("end", ["retired", "new PIN", "signed out"])
def test_a_session_that_has_ended_opens_nothing(staff: Visitor, club: Path, end: str) -> None:
    """On every route at once, whoever still has the cookie."""
    staff.look("/board/")
    token, cookie = staff.token, staff.client.cookies["staff"]
    with open_counter(settings_of(club)) as counter:
        if end == "retired":
            retire_staff(counter, NAME)
        elif end == "new PIN":
            add_staff(counter, NAME, "owner", "825700")
    if end == "signed out":
        staff.send("/board/sign-out")
    with httpx.Client(base_url=staff.client.base_url, cookies={"staff": cookie}) as client:
        for route in STAFF:
            answer = ask(client, route, token)
            assert answer.status_code == 303, route.name
            assert not leaks(answer.text)


def test_a_form_that_stood_on_no_page_of_this_session_changes_nothing(
    base: str, visitor: Visitor, staff: Visitor, club: Path
) -> None:
    """Without a token, with another session's, with the kiosk's, made up: refused on every route that writes."""
    visitor.look("/")
    with Visitor(base) as other_staff, Visitor(base) as other:
        other.look("/")
        other_staff.sign_in()
        tokens = (None, "", "guess", other.token, other_staff.token)
        before = last_change(club)
        for route in POSTS:
            who, others = (staff, visitor.token) if route.who == "staff" else (visitor, staff.token)
            for token in (*tokens, others):
                assert ask(who.client, route, token).status_code == 403, (route.name, token)
    assert last_change(club) == before


def test_a_form_of_another_site_changes_nothing(visitor: Visitor, staff: Visitor, club: Path) -> None:
    """Even with the right token; without the foreign origin the same form is taken, so the token was the right one."""
    visitor.look("/")
    staff.look("/board/")
    before, taken = last_change(club), []
    for route in POSTS:
        who = staff if route.who == "staff" else visitor
        for foreign in ({"Origin": "http://evil.example"}, {"Origin": "null"}, {"Sec-Fetch-Site": "cross-site"}):
            assert ask(who.client, route, who.token, **foreign).status_code == 403, route.name
        assert last_change(club) == before
    for route in sorted(POSTS, key=lambda route: route.name in {"board.sign_out", "kiosk.clear"}):
        who = staff if route.who == "staff" else visitor
        taken.append(ask(who.client, route, who.token).status_code)
        before = last_change(club)
    # What-if alone needs an answer first, which this browser has not had.
    assert taken.count(403) == 1
    assert all(code < 500 for code in taken)


def test_another_browser_s_conversation_is_nobody_else_s(base: str, visitor: Visitor) -> None:
    """Its key without its signature, its cookie without its token, its day without its cookie."""
    talk_through(visitor)
    key = visitor.client.cookies["kiosk"].partition(".")[0]
    assert visitor.client.get("/date.ics").status_code == 200
    with Visitor(base) as other:
        for cookies in ({}, {"kiosk": key}, {"kiosk": f"{key}.9999999999.5.x"}):
            with httpx.Client(base_url=base, cookies=cookies) as client:
                assert client.get("/date.ics").status_code == 404
                assert client.get("/date.svg").status_code == 404
                assert "Restring by" not in client.get("/").text
        other.look("/")
        assert "Restring by" not in other.page.text


def test_kiosk_only_has_none_of_the_board(club: Path) -> None:
    """Not its pages, not its sign-in, not its socket; its forms change nothing."""
    with real_shop(club, kiosk_only=True) as shop, running(shop) as base, httpx.Client(base_url=base) as client:
        for route in ROUTES:
            answer = ask(client, route)
            if route.path.startswith("/board"):
                assert answer.status_code == 404, route.name
            assert not leaks(answer.text)
        assert "/board" not in client.get("/").text


def test_guessed_tags_bring_up_nothing(club: Path, visitor: Visitor) -> None:
    """One letter beside a true tag, and what looks like a pattern."""
    tag = tag_of(club, "blue frame")
    near = tag[:-1] + ("2" if tag[-1] != "2" else "3")
    for guess in (near, tag[::-1] if tag != tag[::-1] else near, "%%%%%%", "______", "' OR 1"):
        visitor.look("/racquet")
        assert visitor.send("/racquet", tag=guess).status_code == 422, guess
        assert not leaks(visitor.page.text)


def test_what_the_kiosk_brings_up_names_nobody(club: Path, visitor: Visitor) -> None:
    """The card of a tag shows strings and a day; neither owner nor number."""
    visitor.look("/racquet")
    assert visitor.send("/racquet", tag=tag_of(club, "blue frame")).status_code == 200
    assert "Restring" in visitor.heading
    assert not leaks(visitor.page.text)


def test_a_session_begun_before_signing_in_is_worth_nothing_after_it(base: str, visitor: Visitor) -> None:
    """Whatever cookie a browser was given beforehand, signing in makes a new one, with new tokens."""
    with Visitor(base) as earlier:
        earlier.sign_in()
        planted, token = earlier.client.cookies["staff"], earlier.token
        earlier.send("/board/sign-out")
    given = {"name": NAME, "pin": PIN}
    with httpx.Client(base_url=base, cookies={"staff": planted}) as client:
        answer = client.post("/board/sign-in", data=given)
    fresh = re.match(r"staff=([^;]+)", answer.headers["set-cookie"])
    assert fresh
    assert fresh[1].split(".")[3] != planted.split(".")[3]
    visitor.sign_in()
    assert visitor.token
    assert visitor.token != token
    with httpx.Client(base_url=base, cookies={"staff": planted}) as client:
        assert client.get("/board/").status_code == 303


def test_a_cleared_kiosk_is_another_one(visitor: Visitor) -> None:
    """The next customer's conversation has another key, and the last one's tokens fit it no more."""
    talk_through(visitor)
    key, token = visitor.client.cookies["kiosk"].partition(".")[0], visitor.token
    visitor.send("/clear")
    assert visitor.client.cookies["kiosk"].partition(".")[0] != key
    assert visitor.client.post("/talk", data={"token": token, "text": "hello"}).status_code == 403


INJECTED = (
    "%0d%0aSet-Cookie:%20planted=1", "%0aX-Planted:1", "%00", "..%2f..%2fetc%2fpasswd", "..%5c..%5c", "%2e%2e", "-1",
    "9" * 40, "1e3", "0x1", "٣", "<script>alert(1)</script>", "{{7*7}}", "%25s", "'%20or%20'1'='1", ";",
    "//evil.example",
)  # fmt: skip


def test_no_path_puts_anything_into_an_answer(base: str, staff: Visitor) -> None:
    """At every place of every route: no header, no address of another site, nothing of the path in the page."""
    with ExitStack() as stack:
        nobody = stack.enter_context(httpx.Client(base_url=base))
        for route in ROUTES:
            if "{" not in route.path:
                continue
            for piece in INJECTED:
                path = re.sub(r"\{\w+\}", piece.replace("\\", ""), route.path)
                for client in (nobody, staff.client):
                    answer = client.request(route.method, path, follow_redirects=False)
                    assert answer.status_code in {303, 400, 403, 404, 405}, (route.name, piece)
                    assert not {"x-planted"} & set(answer.headers)
                    assert "planted" not in str(answer.headers)
                    assert answer.headers.get("location", "/board/sign-in") == "/board/sign-in"
                    assert "<script>alert" not in answer.text
                    assert "{{7*7}}" not in answer.text
                    assert not leaks(answer.text)


def test_no_header_changes_where_an_answer_leads(visitor: Visitor) -> None:
    """Headers of proxies and frameworks are not listened to."""
    tricks = {
        "X-Forwarded-Host": "evil.example", "X-Forwarded-Proto": "https", "X-Original-URL": "/board/due",
        "X-Rewrite-URL": "/board/due", "X-HTTP-Method-Override": "POST", "Forwarded": "host=evil.example",
    }  # fmt: skip
    for path in ("/", "/board/", "/board/due", "/racquet"):
        answer = visitor.client.get(path, headers=tricks, follow_redirects=False)
        assert "evil.example" not in answer.text + str(answer.headers)
        assert not leaks(answer.text)
        if path.startswith("/board"):
            assert answer.headers["location"] == "/board/sign-in"


def test_after_a_day_neither_logs_nor_fault_pages_name_anybody(
    shop: Shop, caplog: pytest.LogCaptureFixture, capfd: pytest.CaptureFixture[str]
) -> None:
    """Every route by somebody signed in, every form with customers' data in it, and each page of a fault."""
    broken = replace(shop, print_label=lambda *_: 1 / 0)  # type: ignore[arg-type, return-value]
    faults: list[httpx.Response] = []
    with caplog.at_level(logging.DEBUG), running(broken) as base, Visitor(base) as staff, Visitor(base) as visitor:
        staff.sign_in()
        data = {
            "name": CUSTOMERS[0]["name"],
            "phone": CUSTOMERS[0]["phone"],
            "said": CUSTOMERS[1]["name"],
            "league": CUSTOMERS[2]["name"],
        }
        for route in STAFF:
            if route.name in SOCKETS or route.name == "board.sign_out":
                continue
            if route.method == "GET":
                answer = staff.client.get(route.example)
            else:
                form = {name: data.get(name, CUSTOMERS[1]["name"]) for name in route.fields}
                answer = staff.client.post(route.example, data=form | {"token": staff.token})
            if "fault" in answer.text or answer.status_code >= 500:
                faults.append(answer)
        faults += [
            staff.client.get(path)
            for path in ("/board/job/999", "/board/customer/999", f"/{CUSTOMERS[0]['name']}", "/board/customer/x")
        ]
        visitor.look("/racquet")
        visitor.send("/racquet", name=CUSTOMERS[1]["name"], tail=CUSTOMERS[1]["phone"][-4:])
        faults.append(visitor.client.post("/racquet", data={"name": CUSTOMERS[0]["name"], "tail": "0142"}))
        faults.append(visitor.client.post("/talk", data={"text": CUSTOMERS[0]["name"] * 5000}))
    captured = capfd.readouterr()
    ours = [
        one.getMessage()
        for one in caplog.records
        if one.name.split(".")[0] in {"sanic", "assistant", "dialogue", "storage"}
    ]
    assert any("ZeroDivisionError" in line for line in ours)
    assert not leaks(" ".join(ours) + captured.out + captured.err)
    assert PIN not in " ".join(ours)
    assert {answer.status_code for answer in faults} >= {403, 404, 413, 500}
    for answer in faults:
        assert not leaks(answer.text), answer.url
        assert "Traceback" not in answer.text
