"""The kiosk: one conversation a browser, shown as big questions and a card; reaches nothing else in the shop."""

from __future__ import annotations

import datetime as dt
import re
import secrets
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from http import HTTPStatus
from typing import Any, cast

from sanic import Blueprint, HTTPResponse, Request, Websocket
from sanic.response import raw, redirect
from sanic.response.types import BaseHTTPResponse

from assistant.channels.web.card import Card, build_card, unsaid
from assistant.channels.web.lookup import Asked, Option, bring_up, look_up
from assistant.channels.web.microphone import MICROPHONE_ALLOWED, Greeting, Microphone
from assistant.channels.web.microphone import Asked as AskedAloud
from assistant.channels.web.pages import PART, App, fields_of, render, show_fault
from assistant.channels.web.pool import Pool
from assistant.channels.web.sessions import KIOSK_COOKIE, Sessions, TalkSession
from assistant.channels.web.shop import Shop
from assistant.channels.web.take_along import draw_qr, write_event
from assistant.channels.web.talks import Talk, Talks, merge
from assistant.channels.web.throttle import Throttle, let_try
from assistant.channels.web.wording import figure, load_words, throttling
from dialogue.messages import Message

START = "start"
"""What the form tokens of the first screen are made from."""
SENTENCE_END = re.compile(r"(?<=[.!?])\s+")
CALENDAR = "text/calendar; charset=utf-8"
PICTURE = "image/svg+xml"
SLOT = re.compile(r"[a-z_]{1,40}")


@dataclass(frozen=True)
class Said:
    """What somebody put into a form of the conversation."""

    text: str = ""
    spoken: bool = False
    doubted: tuple[str, ...] = ()
    """Slots that the ears are not sure of."""

    @classmethod
    def read(cls, form: Mapping[str, str]) -> Said:
        """Return what the form holds."""
        text = form.get("text", "")[: figure("text_characters")]
        doubted = tuple(SLOT.findall(form.get("doubted", "")[: figure("text_characters")]))
        return cls(text, bool(form.get("spoken")), doubted)


class Kiosk:
    """The routes of the kiosk with what they work on."""

    def __init__(self, shop: Shop, sessions: Sessions, pool: Pool, microphone: Microphone) -> None:
        self.shop = shop
        self.microphone = microphone
        self.sessions = sessions
        self.pool = pool
        self.talks = Talks()
        self._place = secrets.token_hex(4)
        self.turns = Throttle(throttling("turn"))

    def add_to(self, app: App) -> None:
        """Add the kiosk to a web server."""
        pages = Blueprint("kiosk")
        pages.add_route(self.show, "/", methods=["GET"], name="show")
        pages.add_route(self.take_turn, "/talk", methods=["POST"], name="talk")
        pages.add_route(self.clear, "/clear", methods=["POST"], name="clear")
        pages.add_route(self.suppose, "/what-if", methods=["POST"], name="what_if")
        pages.add_route(self.show_find, "/racquet", methods=["GET"], name="racquet_form")
        pages.add_route(self.find, "/racquet", methods=["POST"], name="racquet")
        pages.add_route(self.take_along, "/date.ics", methods=["GET"], name="date")
        pages.add_route(self.draw_code, "/date.svg", methods=["GET"], name="code")
        pages.add_websocket_route(self.hear, "/hear", name="hear")
        app.blueprint(pages)
        app.register_middleware(self.keep_alive, "response")
        app.register_middleware(self.allow_microphone, "response")

    async def keep_alive(self, request: Request, response: BaseHTTPResponse) -> None:
        """Write the conversation's cookie anew, seen now."""
        session: TalkSession | None = getattr(request.ctx, "talk", None)
        if session:
            cookie = self.sessions.write_talk(session)
            response.add_cookie(KIOSK_COOKIE, cookie, httponly=True, samesite="Strict", secure=False, path="/")

    async def allow_microphone(self, request: Request, response: BaseHTTPResponse) -> None:
        """Let the kiosk's pages ask for the microphone where somebody could hear it."""
        if self.microphone.ears.there and request.route and ".kiosk." in request.route.name:
            response.headers["Permissions-Policy"] = MICROPHONE_ALLOWED

    # Pages.

    async def show(self, request: Request) -> HTTPResponse:
        """Show where this browser's conversation stands, or how to begin one."""
        session = self._session(request)
        talk = await self._talk(session)
        if talk and talk.options:
            return render(request, "kiosk/which.html", **self._page(session.key), options=talk.options)
        return self._show(request, session.key, talk) if talk else self._start(request, session.key)

    async def take_turn(self, request: Request) -> HTTPResponse:
        """Take one turn and show the answer."""
        session = self._checked(request)
        if session is None:
            return await show_fault(request, HTTPStatus.FORBIDDEN)
        if self.turns.wait(session.key):
            return await show_fault(request, HTTPStatus.TOO_MANY_REQUESTS)
        self.turns.count(session.key)
        said = Said.read(fields_of(request))
        before = self.talks.get(session)
        session = replace(session, turns=session.turns + 1)
        talk = await self._turn(session, said, before)
        request.ctx.talk = session
        if talk.ended:
            return self._cleared(request, session)
        return self._show(request, session.key, talk, heard=said.text if said.spoken else "")

    async def hear(self, request: Request, socket: Websocket) -> None:
        """Hear what is said to this browser; the words come back to it as if they had been typed."""
        await self.microphone.listen(request, socket, self._asked)

    async def clear(self, request: Request) -> HTTPResponse:
        """Forget this browser's conversation; the next one begins afresh, for whoever comes."""
        session = self._checked(request)
        return self._cleared(request, session) if session else await show_fault(request, HTTPStatus.FORBIDDEN)

    async def suppose(self, request: Request) -> HTTPResponse:
        """Show what the answer would be for another level or other plays a week."""
        session = self._checked(request)
        talk = await self._talk(session) if session else None
        if not session or not talk or not talk.decision:
            return await show_fault(request, HTTPStatus.FORBIDDEN)
        changes = _read_changes(request)
        if changes is None:
            return await show_fault(request, HTTPStatus.BAD_REQUEST)
        supposed = await self.pool.run(self.shop.suppose, talk.facts, changes, self.shop.today())
        if "error" in supposed:
            return await show_fault(request, HTTPStatus.BAD_REQUEST)
        values = self._answer(session.key, talk)
        values |= {"supposed": build_card(supposed, self._say_day), "changes": changes, "heard": ""}
        template = "kiosk/supposed.html" if request.headers.get(PART) else "kiosk/answer.html"
        return render(request, template, **values)

    async def show_find(self, request: Request) -> HTTPResponse:
        """Show how a racquet is brought up."""
        return render(request, "kiosk/racquet.html", **self._page(self._session(request).key), problem=None)

    async def find(self, request: Request) -> HTTPResponse:
        """Bring up a racquet by its tag, or by its owner's name and the end of the phone number; nothing in between."""
        session = self._checked(request)
        if session is None:
            return await show_fault(request, HTTPStatus.FORBIDDEN)
        problem, found = await self._find(request, session)
        if found and found.options:
            return render(request, "kiosk/which.html", **self._page(session.key), options=found.options)
        if found:
            return self._show(request, session.key, found)
        status = HTTPStatus.TOO_MANY_REQUESTS if problem == "wait" else HTTPStatus.UNPROCESSABLE_ENTITY
        return render(request, "kiosk/racquet.html", status, **self._page(session.key), problem=problem)

    async def take_along(self, request: Request) -> HTTPResponse:
        """Return the day as a calendar file, for somebody whose own phone this is."""
        event = await self._event_of(request)
        if event is None:
            return await show_fault(request, HTTPStatus.NOT_FOUND)
        headers = {"Content-Disposition": 'attachment; filename="restring.ics"'}
        return raw(event.encode(), content_type=CALENDAR, headers=headers)

    async def draw_code(self, request: Request) -> HTTPResponse:
        """Return the day as a QR code, drawn when somebody opens it and not for every answer."""
        event = await self._event_of(request)
        if event is None:
            return await show_fault(request, HTTPStatus.NOT_FOUND)
        return raw((await self.pool.run(draw_qr, event)).encode(), content_type=PICTURE)

    # What they are made of.

    async def _talk(self, session: TalkSession) -> Talk | None:
        """Return what a conversation shows; one that another worker led is asked of the conversation itself."""
        talk = self.talks.get(session)
        return await self._turn(session, Said(), None) if talk is None and session.turns else talk

    async def _turn(self, session: TalkSession, said: Said, before: Talk | None) -> Talk:
        channel = "voice" if said.spoken else "typed"
        message = Message(said.text, f"kiosk:{session.key}", channel, self.shop.today(), doubted=said.doubted)
        talk = await self.pool.run(self._advance, message, before)
        self.talks.keep(session, talk)
        return talk

    def _advance(self, message: Message, before: Talk | None) -> Talk:
        """Take a turn and return what is shown then, with how far the conversation is."""
        talk = merge(self.shop.turn(message), before)
        talk = replace(talk, told=tuple(self.shop.tell_facts(talk.facts)))
        if talk.decision:
            return talk
        facts = talk.facts
        known = len(set(facts) - {"words", "unknown"}) + len(facts.get("unknown", ()))
        return replace(talk, known=known, left=max(talk.left, 1))

    def _show(self, request: Request, key: str, talk: Talk, heard: str = "") -> HTTPResponse:
        if talk.decision:
            return render(request, "kiosk/answer.html", **self._answer(key, talk), heard=heard)
        lead, question = split_question(talk.text or (load_words()["kiosk"]["ask_anything"],))
        values: dict[str, Any] = {"talk": talk, "lead": lead, "question": question, "heard": heard}
        return render(request, "kiosk/question.html", **self._page(key), **values)

    def _answer(self, key: str, talk: Talk) -> dict[str, Any]:
        card = build_card(talk.decision or {}, self._say_day)
        text = unsaid(talk.text, card) if talk.fresh else talk.text
        facts = talk.facts
        words = dict(facts.get("words") or {})
        return {
            **self._page(key),
            "talk": talk,
            "card": card,
            "takes_along": self._day_to_come(card) is not None,
            "text": text,
            "quotes": tuple(dict.fromkeys(words.values())),
            "level": facts.get("level"),
            "plays": _middle(facts.get("plays_per_week")),
            "supposed": None,
            "changes": {},
            "today": self._say_day(self.shop.today()),
        }

    async def _event_of(self, request: Request) -> str | None:
        """Return the calendar event of the day on this browser's card, or None where there is none."""
        session = self._read(request)
        talk = await self._talk(session) if session else None
        day = self._day_to_come(build_card(talk.decision, self._say_day)) if talk and talk.decision else None
        # Written at the day's beginning, so that one day's code is drawn once and not for every customer.
        morning = dt.datetime.combine(self.shop.today(), dt.time(), dt.UTC)
        return write_event(day, load_words()["card"]["event"], morning, self._place) if day else None

    def _day_to_come(self, card: Card) -> dt.date | None:
        """Return the card's day where it is worth taking along: one that has passed is no appointment."""
        return card.day if card.day and card.day >= self.shop.today() else None

    def _start(self, request: Request, key: str) -> HTTPResponse:
        return render(request, "kiosk/start.html", **self._page(key))

    def _cleared(self, request: Request, session: TalkSession) -> HTTPResponse:
        self.talks.forget(session.key)
        request.ctx.talk = self.sessions.begin_talk()
        if request.headers.get(PART):
            return self._start(request, request.ctx.talk.key)
        return redirect("/", status=HTTPStatus.SEE_OTHER)

    async def _find(self, request: Request, session: TalkSession) -> tuple[str, Talk | None]:
        """Return the racquet asked for, or the owner's several to pick from, or why there is none."""
        form = fields_of(request)
        before = self.talks.get(session)
        if form.get("pick") and before and before.options:
            picked = [option for option in before.options if str(option.racquet_id) == form.get("pick")]
            return await self._bring_up(session, picked[:1])
        asked = Asked.read(form)
        if not asked.complete:
            return "incomplete", None
        if not await self.pool.run(let_try, self.shop.counter("kiosk"), racquet=request.ip, racquet_everybody="all"):
            return "wait", None
        options = await self.pool.run(look_up, self.shop, asked)
        if len(options) > 1:
            choosing = Talk(text=(), speech="", asked=None, choices=(), options=options)
            self.talks.keep(session, choosing)
            return "", choosing
        return await self._bring_up(session, list(options))

    async def _bring_up(self, session: TalkSession, options: list[Option]) -> tuple[str, Talk | None]:
        found = await self.pool.run(bring_up, self.shop, options[0]) if options else None
        if found is None:
            return "not_found", None
        self.talks.keep(session, found)
        return "", found

    def _page(self, key: str) -> dict[str, Any]:
        token = self.sessions.form_token
        return {
            "token": token(f"talk:{key}"),
            "start": token(START),
            "board": not self.shop.kiosk_only,
            "speaks": self.microphone.ears.there,
        }

    def _read(self, request: Request) -> TalkSession | None:
        session = self.sessions.read_talk(request.cookies.get(KIOSK_COOKIE))
        request.ctx.talk = session
        return session

    def _session(self, request: Request) -> TalkSession:
        """Return this browser's conversation, a new one where it has none."""
        request.ctx.talk = self._read(request) or self.sessions.begin_talk()
        return cast("TalkSession", request.ctx.talk)

    def _checked(self, request: Request) -> TalkSession | None:
        """Return the conversation of a form that was made for it.

        A form of the first screen, which may have stood there for hours, begins a new one.
        """
        form = fields_of(request)
        session = self._read(request)
        if session is None and self.sessions.is_token(START, form.get("start")):
            return self._session(request)
        return session if session and self.sessions.is_token(f"talk:{session.key}", form.get("token")) else None

    def _asked(self, request: Request, greeting: Greeting) -> AskedAloud | None:
        """Return what is asked on this browser's screen, or None for a browser that was shown none."""
        session = self.sessions.read_talk(request.cookies.get(KIOSK_COOKIE))
        if session is None:
            return AskedAloud() if self.sessions.is_token(START, greeting.start) else None
        if not self.sessions.is_token(f"talk:{session.key}", greeting.token):
            return None
        talk = self.talks.get(session)
        return AskedAloud(talk.asked, tuple(choice.text for choice in talk.choices)) if talk else AskedAloud()

    @property
    def _say_day(self) -> Callable[[dt.date], str]:
        return self.shop.counter("kiosk").wording.words.date


def split_question(text: Sequence[str]) -> tuple[list[str], str]:
    """Return what is said before the question, and the question: the last paragraph from its first question on."""
    *lead, last = text
    sentences = SENTENCE_END.split(last)
    first = next((at for at, sentence in enumerate(sentences) if sentence.endswith("?")), 0)
    return [*lead, *([" ".join(sentences[:first])] if first else [])], " ".join(sentences[first:])


def _read_changes(request: Request) -> dict[str, Any] | None:
    """Return what the sliders suppose, or None where they hold nonsense."""
    form = fields_of(request)
    changes: dict[str, Any] = {}
    try:
        if form.get("plays"):
            changes["plays_per_week"] = float(form["plays"])
    except ValueError:
        return None
    if form.get("level"):
        changes["level"] = form["level"]
    return changes


def _middle(plays: Any) -> float | None:
    """Return where the slider stands for a number or a range of plays."""
    if isinstance(plays, Mapping):
        return float(plays["min"] + plays["max"]) / 2
    return float(plays) if plays is not None else None
