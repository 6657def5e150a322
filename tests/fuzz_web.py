"""The browser's doors for spoilt input: every form of the web server over real HTTP, and names with PINs."""

from __future__ import annotations

import json
import random
from collections.abc import Callable, Iterator, Mapping
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from tempfile import TemporaryDirectory
from typing import Any
from urllib.parse import quote_plus

from assistant.bootstrap import open_counter
from dialogue.counter.counter import Counter
from dialogue.counter.staff import add_staff, verify_pin
from tests.assistant.web.routes import Route, read_routes
from tests.assistant.web.running_shop import NAME, PIN, Visitor, fill_shop, real_shop, running, settings_of

Spoil = Callable[[str, random.Random], str]
USUAL: Mapping[str, str] = {
    "name": "Juniper Vale", "phone": "202-555-0199", "email": "juniper@club.example", "text": "twice a week for fun",
    "said": "Wren", "tag": "ABC123", "tail": "0117", "plays": "3", "level": "competitive", "plays_per_week": "2.5",
    "league": "Hollow Winter League", "season": "Spring", "starts_on": "2027-01-10", "strung_on": "2026-11-20",
    "taken_on": "2026-11-24", "promised_on": "2026-11-30", "values": "62 61.5 62", "kind": "deflection",
    "role": "check", "machine": "constant_pull", "pieces": "2", "prestretch_percent": "10", "instrument": "grey one",
    "frame_check": "sound", "strings": "these", "mains_material": "polyester", "mains_tension": "52",
    "crosses_material": "synthetic_gut", "crosses_tension": "50.5", "mains_gauge": "1.25", "unit": "lb",
    "head_size_in2": "98", "mains_count": "16", "crosses_count": "19", "tension_min_lb": "48", "tension_max_lb": "60",
    "nickname": "grey frame", "sport": "tennis", "customer_id": "2", "racquet_id": "2", "consent": "yes",
    "consent_asked": "yes", "spoken": "1", "doubted": "plays_per_week,level", "pick": "2", "pin": "123456",
    "notes": "tight at the throat", "wish": "62 lb", "seen_by": "Rowan Sedge",
}  # fmt: skip
LEFT_OUT = frozenset({"board.sign_out"})
"""It would end the session that everything else needs."""
ALWAYS_ALLOWED = frozenset({400, 403, 404, 413, 422, 429})


@dataclass
class WebDoors:
    """What a browser may send, on one server."""

    staff: Visitor
    visitor: Visitor
    counter: Counter
    chance: random.Random
    spoil: Spoil
    routes: tuple[Route, ...]

    def send_form(self) -> tuple[str, Callable[[], object]]:
        """Return a form with spoilt fields, or a body that is none, and its sending with the page's own token."""
        route = self.chance.choice(self.routes)
        path = route.path.format(number=self.chance.choice((1, 2, 3, 5, 9, 10**12)), step=self._step())
        names = self.chance.sample(sorted(route.fields), self.chance.randint(0, len(route.fields)))
        form = {name: self._value(name, route.fields[name]) for name in names if name != "token"}
        who = self.staff if route.who == "staff" else self.visitor
        body, kind = self._body({**form, "token": who.token})
        return f"{route.name} {form}", lambda: self._send(who, route, path, body, kind)

    def give_pin(self) -> tuple[str, Callable[[], object]]:
        """Return a spoilt name and PIN, tried at the door and given to somebody new."""
        name, pin = (self.spoil(text, self.chance) for text in (NAME, PIN))

        if self.chance.random() < 0.3:
            return f"{name!r} {pin!r} tried", lambda: verify_pin(self.counter, name, pin)
        return f"{name!r} {pin!r} given", lambda: add_staff(self.counter, name, "front", pin)

    def _step(self) -> str:
        return self.chance.choice(("strung", "reading", "ready", "date", "pickup", "cancel", "none"))

    def _value(self, name: str, schema: Mapping[str, Any]) -> str:
        usual = self.chance.choice(schema["enum"]) if "enum" in schema else USUAL.get(name, "1")
        return self.spoil(usual, self.chance) if self.chance.random() < 0.4 else usual

    def _body(self, form: Mapping[str, str]) -> tuple[bytes, str]:
        encoded = "&".join(f"{quote_plus(name)}={quote_plus(value, errors='replace')}" for name, value in form.items())
        kind = self.chance.random()
        if kind < 0.05:
            raw = bytearray(encoded.encode())
            raw[self.chance.randrange(len(raw))] = self.chance.randrange(256)
            return bytes(raw), "application/x-www-form-urlencoded"
        if kind < 0.08:
            return json.dumps(form).encode(errors="replace"), self.chance.choice(("application/json", "text/plain", ""))
        if kind < 0.1:
            return encoded.encode(), "multipart/form-data; boundary=x"
        return encoded.encode(), "application/x-www-form-urlencoded; charset=utf-8"

    def _send(self, who: Visitor, route: Route, path: str, body: bytes, kind: str) -> int:
        answer = who.client.post(path, content=body, headers={"Content-Type": kind}, follow_redirects=False)
        if answer.status_code not in ALWAYS_ALLOWED | route.codes:
            raise AssertionError(f"{route.name} answered {answer.status_code}")
        if "Traceback" in answer.text:
            raise AssertionError(f"{route.name} showed its inside")
        who.page = answer
        if not who.token:
            # The last answer had no form, or the turns of a minute are used up: begin anew.
            if who is self.visitor:
                who.client.cookies.clear()
            who.look("/" if who is self.visitor else "/board/")
        return answer.status_code


@contextmanager
def open_web_doors(chance: random.Random, spoil: Spoil) -> Iterator[WebDoors]:
    """Open a server of the invented club with somebody signed in and somebody at the kiosk."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "club.sqlite3"
        fill_shop(path)
        with (
            real_shop(path) as shop,
            running(shop) as base,
            Visitor(base) as staff,
            Visitor(base) as visitor,
            open_counter(settings_of(path)) as counter,
        ):
            staff.sign_in()
            visitor.look("/")
            routes = tuple(route for route in read_routes() if route.method == "POST" and route.name not in LEFT_OUT)
            yield WebDoors(staff, visitor, counter, chance, spoil, routes)
