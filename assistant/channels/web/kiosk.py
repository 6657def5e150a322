"""The kiosk: one conversation a browser, shown as big questions and a card; reaches nothing else in the shop."""

from __future__ import annotations

import datetime as dt
import re
from collections.abc import Callable, Mapping, Sequence
from http import HTTPStatus
from typing import Any

from sanic import Blueprint, HTTPResponse, Request
from sanic.response import raw, redirect

from assistant.channels.web.card import Card, build_card, unsaid
from assistant.channels.web.lookup import Asked, Option, bring_up, look_up
from assistant.channels.web.pages import PART, fields_of, render, show_fault
from assistant.channels.web.pool import Pool
from assistant.channels.web.sessions import KIOSK_COOKIE, Sessions
from assistant.channels.web.shop import Shop
from assistant.channels.web.take_along import draw_qr, write_event
from assistant.channels.web.talks import Talk, Talks, merge
from assistant.channels.web.throttle import Throttle
from assistant.channels.web.wording import figure, load_words, throttling
from dialogue.messages import Message

SENTENCE_END = re.compile(r"(?<=[.!?])\s+")
CALENDAR = "text/calendar; charset=utf-8"


class Kiosk:
    """The routes of the kiosk with what they work on."""

    def __init__(self, shop: Shop, sessions: Sessions, pool: Pool) -> None:
        self.shop = shop
        self.sessions = sessions
        self.pool = pool
        self.talks = Talks()
        self.turns = Throttle(throttling("turn"))
        self.lookups = Throttle(throttling("racquet"))
        self.all_lookups = Throttle(throttling("racquet_everybody"))

    def routes(self) -> Blueprint:
        """Return the kiosk's routes."""
        pages = Blueprint("kiosk")
        pages.add_route(self.show, "/", methods=["GET"], name="show")
        pages.add_route(self.take_turn, "/talk", methods=["POST"], name="talk")
        pages.add_route(self.clear, "/clear", methods=["POST"], name="clear")
        pages.add_route(self.suppose, "/what-if", methods=["POST"], name="what_if")
        pages.add_route(self.show_find, "/racquet", methods=["GET"], name="racquet_form")
        pages.add_route(self.find, "/racquet", methods=["POST"], name="racquet")
        pages.add_route(self.take_along, "/date.ics", methods=["GET"], name="date")
        return pages

    # Pages.

    async def show(self, request: Request) -> HTTPResponse:
        """Show where this browser's conversation stands, or how to begin one."""
        key = self._key(request)
        talk = self.talks.get(key) if key else None
        if key and talk and talk.options:
            return render(request, "kiosk/which.html", **self._page(key), options=talk.options)
        if key and talk:
            return await self._show(request, key, talk)
        return self._begin(request)

    async def take_turn(self, request: Request) -> HTTPResponse:
        """Take one turn and show the answer."""
        key = self._checked_key(request)
        if key is None:
            return await show_fault(request, HTTPStatus.FORBIDDEN)
        if self.turns.wait(key):
            return await show_fault(request, HTTPStatus.TOO_MANY_REQUESTS)
        self.turns.count(key)
        text = fields_of(request).get("text", "")[: figure("text_characters")]
        talk = await self._turn(key, text)
        if talk.ended:
            return self._cleared(request)
        return await self._show(request, key, talk)

    async def clear(self, request: Request) -> HTTPResponse:
        """Forget this browser's conversation; the next one begins afresh, for whoever comes."""
        key = self._checked_key(request)
        if key:
            self.talks.forget(key)
        return self._cleared(request)

    async def suppose(self, request: Request) -> HTTPResponse:
        """Show what the answer would be for another level or other plays a week."""
        key = self._checked_key(request)
        talk = self.talks.get(key) if key else None
        if not talk or not talk.decision:
            return await show_fault(request, HTTPStatus.FORBIDDEN)
        changes = _read_changes(request)
        if changes is None:
            return await show_fault(request, HTTPStatus.BAD_REQUEST)
        today = self.shop.today()
        supposed = await self.pool.run(self.shop.suppose, talk.facts, changes, today)
        if "error" in supposed:
            return await show_fault(request, HTTPStatus.BAD_REQUEST)
        values = self._answer(key or "", talk)
        values |= {"supposed": build_card(supposed, self._say_day), "changes": changes}
        template = "kiosk/supposed.html" if request.headers.get(PART) else "kiosk/answer.html"
        return render(request, template, **values)

    async def show_find(self, request: Request) -> HTTPResponse:
        """Show how a racquet is brought up."""
        key = self._key(request)
        if key is None:
            return redirect("/")
        return render(request, "kiosk/racquet.html", **self._page(key), problem=None)

    async def find(self, request: Request) -> HTTPResponse:
        """Bring up a racquet by its tag, or by its owner's name and the end of the phone number; nothing in between."""
        key = self._checked_key(request)
        if key is None:
            return await show_fault(request, HTTPStatus.FORBIDDEN)
        problem, found = await self._find(request, key)
        if found and found.options:
            return render(request, "kiosk/which.html", **self._page(key), options=found.options)
        if found:
            return await self._show(request, key, found)
        status = HTTPStatus.TOO_MANY_REQUESTS if problem == "wait" else HTTPStatus.UNPROCESSABLE_ENTITY
        return render(request, "kiosk/racquet.html", status, **self._page(key), problem=problem)

    async def take_along(self, request: Request) -> HTTPResponse:
        """Return the day as a calendar file, for somebody whose own phone this is."""
        key = self._key(request)
        talk = self.talks.get(key) if key else None
        card = build_card(talk.decision, self._say_day) if talk and talk.decision else None
        if not card or not card.day:
            return await show_fault(request, HTTPStatus.NOT_FOUND)
        headers = {"Content-Disposition": 'attachment; filename="restring.ics"'}
        return raw(self._event(card).encode(), content_type=CALENDAR, headers=headers)

    # What they are made of.

    async def _turn(self, key: str, text: str) -> Talk:
        message = Message(text, f"kiosk:{key}", today=self.shop.today())
        talk = merge(await self.pool.run(self.shop.turn, message), self.talks.get(key))
        self.talks.keep(key, talk)
        return talk

    async def _show(self, request: Request, key: str, talk: Talk) -> HTTPResponse:
        if talk.decision:
            return render(request, "kiosk/answer.html", **self._answer(key, talk))
        facts = dict(talk.facts)
        known, told, left = await self.pool.run(self._measure_progress, facts)
        lead, question = split_question(talk.text or (load_words()["kiosk"]["ask_anything"],))
        return render(
            request,
            "kiosk/question.html",
            **self._page(key),
            talk=talk,
            lead=lead,
            question=question,
            known=known,
            told=told,
            left=left,
        )

    def _measure_progress(self, facts: Mapping[str, Any]) -> tuple[int, tuple[str, ...], int]:
        """Return how many questions are answered, what is known in words, and how many the rules still have."""
        decision = self.shop.suppose(facts, {}, self.shop.today())
        told = tuple(self.shop.tell_facts(facts))
        known = len(set(facts) - {"words", "unknown"}) + len(facts.get("unknown", ()))
        if "error" in decision:
            return known, told, 1
        wanted = {need["fact"] for need in decision["needs"]}
        wanted |= {need["fact"] for need in decision["strengthens"] if need["ask"]}
        return known, told, max(len(wanted), 1)

    def _answer(self, key: str, talk: Talk) -> dict[str, Any]:
        card = build_card(talk.decision or {}, self._say_day)
        text = unsaid(talk.text, card) if talk.fresh else talk.text
        facts = talk.facts
        words = dict(facts.get("words") or {})
        return {
            **self._page(key),
            "talk": talk,
            "card": card,
            "text": text,
            "told": tuple(self.shop.tell_facts(facts)),
            "quotes": tuple(dict.fromkeys(words.values())),
            "qr": draw_qr(self._event(card), load_words()["card"]["qr_title"]) if card.day else None,
            "level": facts.get("level"),
            "plays": _middle(facts.get("plays_per_week")),
            "supposed": None,
            "changes": {},
            "today": self._say_day(self.shop.today()),
        }

    def _event(self, card: Card) -> str:
        summary = load_words()["card"]["event"]
        return write_event(card.day or self.shop.today(), summary, dt.datetime.now(tz=dt.UTC))

    def _begin(self, request: Request) -> HTTPResponse:
        key = self._key(request)
        cookie = None
        if key is None:
            key, cookie = self.sessions.begin_talk()
        response = render(request, "kiosk/start.html", **self._page(key))
        if cookie:
            _set_cookie(response, cookie)
        return response

    def _cleared(self, request: Request) -> HTTPResponse:
        key, cookie = self.sessions.begin_talk()
        if request.headers.get(PART):
            response = render(request, "kiosk/start.html", **self._page(key))
        else:
            response = redirect("/", status=HTTPStatus.SEE_OTHER)
        _set_cookie(response, cookie)
        return response

    async def _find(self, request: Request, key: str) -> tuple[str, Talk | None]:
        """Return the racquet asked for, or the owner's several to pick from, or why there is none."""
        form = fields_of(request)
        before = self.talks.get(key)
        if form.get("pick") and before and before.options:
            picked = [option for option in before.options if str(option.racquet_id) == form.get("pick")]
            return await self._bring_up(key, picked[:1])
        asked = Asked.read(form)
        if problem := self._refuse_lookup(request, asked):
            return problem, None
        options = await self.pool.run(look_up, self.shop, asked)
        if len(options) > 1:
            choosing = Talk(text=(), speech="", asked=None, choices=(), options=options)
            self.talks.keep(key, choosing)
            return "", choosing
        return await self._bring_up(key, list(options))

    async def _bring_up(self, key: str, options: list[Option]) -> tuple[str, Talk | None]:
        found = await self.pool.run(bring_up, self.shop, options[0]) if options else None
        if found is None:
            return "not_found", None
        self.talks.keep(key, found)
        return "", found

    def _refuse_lookup(self, request: Request, asked: Asked) -> str | None:
        if not asked.complete:
            return "incomplete"
        if self.lookups.wait(request.ip) or self.all_lookups.wait("all"):
            return "wait"
        self.lookups.count(request.ip)
        self.all_lookups.count("all")
        return None

    def _page(self, key: str) -> dict[str, Any]:
        return {"token": self.sessions.form_token(f"talk:{key}"), "board": not self.shop.kiosk_only}

    def _key(self, request: Request) -> str | None:
        return self.sessions.read_talk(request.cookies.get(KIOSK_COOKIE))

    def _checked_key(self, request: Request) -> str | None:
        """Return the conversation of a form that was made for it."""
        key = self._key(request)
        form = fields_of(request)
        return key if key and self.sessions.is_token(f"talk:{key}", form.get("token")) else None

    @property
    def _say_day(self) -> Callable[[dt.date], str]:
        return self.shop.counter("kiosk").wording.words.date


def split_question(text: Sequence[str]) -> tuple[list[str], str]:
    """Return what is said before the question, and the question: the last paragraph from its first question on."""
    *lead, last = text
    sentences = SENTENCE_END.split(last)
    first = next((at for at, sentence in enumerate(sentences) if sentence.endswith("?")), 0)
    return [*lead, *([" ".join(sentences[:first])] if first else [])], " ".join(sentences[first:])


def _set_cookie(response: HTTPResponse, cookie: str) -> None:
    response.add_cookie(KIOSK_COOKIE, cookie, httponly=True, samesite="Strict", secure=False, path="/")


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
