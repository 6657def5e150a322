"""The staff board: its pages, read off the cards; what changes a card is in board_acts."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable
from http import HTTPStatus
from typing import Any

from sanic import Blueprint, HTTPResponse, Request, Websocket
from sanic.response import raw
from sanic.response.types import BaseHTTPResponse

from assistant.channels.web.card import build_card
from assistant.channels.web.desk import last_change, read_customer, read_job, read_replay
from assistant.channels.web.live import Live
from assistant.channels.web.microphone import MICROPHONE_ALLOWED, Greeting
from assistant.channels.web.pages import fields_of, render, show_fault
from assistant.channels.web.pool import Pool
from assistant.channels.web.sessions import Sessions
from assistant.channels.web.shop import Shop
from assistant.channels.web.tapping import TapEar
from assistant.channels.web.wording import figure, load_words
from assistant.labels.errors import LabelError
from dialogue.counter.bench import list_bench
from dialogue.counter.counter import Counter
from dialogue.counter.customers import find_customer
from dialogue.counter.due import DueQuestion, list_due
from dialogue.counter.leagues import list_leagues, plan_season
from dialogue.counter.limits import choices
from dialogue.counter.outcomes import Refusal, Refused
from dialogue.counter.phones import show_phone

BELONGS = ("natural_gut", "synthetic_gut", "multifilament", "polyester", "aramid")
KINDS = ("deflection", "stiffness", "pounds", "frequency")
PDF = "application/pdf"


class Board:
    """The pages of the board with what they work on."""

    def __init__(self, shop: Shop, sessions: Sessions, pool: Pool, taps: TapEar | None = None) -> None:
        self.shop = shop
        self.sessions = sessions
        self.pool = pool
        self.taps = taps
        """Hears taps on a stringbed; None where that cannot be done."""
        self.live = Live(lambda: pool.run(last_change, shop.counter("board")))

    def routes(self) -> Blueprint:
        """Return the board's pages."""
        pages = Blueprint("board", url_prefix="/board")
        pages.add_route(self.show_bench, "/", methods=["GET"], name="bench")
        pages.add_route(self.show_due, "/due", methods=["GET"], name="due")
        pages.add_route(self.show_find, "/find", methods=["GET"], name="find_form")
        pages.add_route(self.find, "/find", methods=["POST"], name="find")
        pages.add_route(self.show_customer, "/customer/<number:int>", methods=["GET"], name="customer")
        pages.add_route(self.show_drop_off, "/drop-off", methods=["GET"], name="drop_off_form")
        pages.add_route(self.show_job, "/job/<number:int>", methods=["GET"], name="job")
        pages.add_route(self.print_label, "/job/<number:int>/label.pdf", methods=["GET"], name="label")
        pages.add_route(self.show_replay, "/consultation/<number:int>", methods=["GET"], name="consultation")
        pages.add_route(self.show_leagues, "/leagues", methods=["GET"], name="leagues")
        pages.add_route(self.show_season, "/league/<number:int>", methods=["GET"], name="league")
        pages.add_websocket_route(self.listen, "/live", name="live")
        if self.taps:
            pages.add_websocket_route(self.hear_taps, "/taps", name="taps")
        return pages

    # Pages.

    async def show_bench(self, request: Request) -> HTTPResponse:
        """Show every racquet in the shop by promised day."""
        return await self.bench_page(request)

    async def show_due(self, request: Request) -> HTTPResponse:
        """Show whose strings are due or overdue."""
        due = await self.pool.run(list_due, self.counter(request), DueQuestion(within_days=figure("looks_ahead_days")))
        entries, total = ((), 0) if isinstance(due, Refusal) else (due.entries, due.total)
        return self.page(request, "board/due.html", entries=entries, total=total)

    async def show_find(self, request: Request) -> HTTPResponse:
        """Show the search."""
        return self.page(request, "board/find.html", found=None, problem=None)

    async def find(self, request: Request) -> HTTPResponse:
        """Search by name, phone or tag; what was searched for stays out of the address."""
        counter = self.counter(request)
        found = await self.pool.run(find_customer, counter, fields_of(request).get("said", ""))
        if isinstance(found, Refusal):
            return self.page(request, "board/find.html", found=None, problem=counter.wording.remark(found))
        if found.job is not None:
            return await self.job_page(request, found.job.id)
        if len(found.hits) == 1:
            return await self.customer_page(request, found.hits[0].customer.id)
        return self.page(request, "board/find.html", found=found, problem=None)

    async def show_customer(self, request: Request, number: int) -> HTTPResponse:
        """Show one customer."""
        return await self.customer_page(request, number)

    async def show_job(self, request: Request, number: int) -> HTTPResponse:
        """Show one stringing."""
        return await self.job_page(request, number)

    async def show_drop_off(self, request: Request) -> HTTPResponse:
        """Show the form for a racquet that is left here."""
        return await self.drop_off_page(request, _number(request, "customer"), _number(request, "racquet"))

    async def show_replay(self, request: Request, number: int) -> HTTPResponse:
        """Show one consultation as it was."""
        counter = self.counter(request)
        replay = await self.pool.run(read_replay, self.shop, counter, number)
        card = build_card(replay.consultation.decision, counter.wording.words.date)
        return self.page(request, "board/replay.html", replay=replay, card=card)

    async def show_leagues(self, request: Request) -> HTTPResponse:
        """Show every league."""
        return await self.leagues_page(request)

    async def show_season(self, request: Request, number: int) -> HTTPResponse:
        """Show who needs stringing before the league's next season, and the bench until then."""
        counter = self.counter(request)
        leagues = await self.pool.run(list_leagues, counter)
        shown = () if isinstance(leagues, Refusal) else leagues.leagues
        league = next((one for one in shown if one.league.id == number), None)
        if league is None:
            return await show_fault(request, HTTPStatus.NOT_FOUND)
        planned = await self.pool.run(plan_season, counter, league.league.name)
        problem = counter.wording.remark(planned) if isinstance(planned, Refusal) else None
        plan = None if isinstance(planned, Refusal) else planned
        return self.page(request, "board/season.html", league=league, plan=plan, problem=problem)

    async def print_label(self, request: Request, number: int) -> HTTPResponse:
        """Return the label of a stringing as PDF."""
        if self.shop.print_label is None:
            return await show_fault(request, HTTPStatus.NOT_FOUND)
        counter = self.counter(request)
        page = await self.pool.run(read_job, counter, number)
        try:
            label = await self.pool.run(self.shop.print_label, counter, page.job.tag)
        except Refused as refused:
            problem = counter.wording.remark(refused.refusal)
            return await self.job_page(request, number, HTTPStatus.UNPROCESSABLE_ENTITY, problem=problem)
        except LabelError as error:
            return await self.job_page(request, number, HTTPStatus.UNPROCESSABLE_ENTITY, problem=str(error))
        headers = {"Content-Disposition": 'inline; filename="label.pdf"'}
        return raw(label, content_type=PDF, headers=headers)

    async def listen(self, request: Request, board: Websocket) -> None:
        """Tell an open board when something changed."""
        if not self.live.full:
            await self.live.listen(board, request.args.get("shown") or "")

    async def hear_taps(self, request: Request, socket: Websocket) -> None:
        """Hear taps on a stringbed as the figures of a reading."""
        if self.taps:
            await self.taps.listen(request, socket, self._may_tap)

    def _may_tap(self, request: Request, greeting: Greeting) -> bool:
        return self.sessions.is_token(request.ctx.session.key, greeting.token)

    async def allow_microphone(self, request: Request, response: BaseHTTPResponse) -> None:
        """Let the board's pages ask for the microphone where taps can be heard."""
        if self.taps and getattr(request.ctx, "member", None):
            response.headers["Permissions-Policy"] = MICROPHONE_ALLOWED

    # What the acts show again, with what came of them.

    async def bench_page(self, request: Request, status: int = HTTPStatus.OK, note: str = "") -> HTTPResponse:
        """Return the bench."""
        bench = await self.pool.run(list_bench, self.counter(request))
        rows = () if isinstance(bench, Refusal) else bench.rows
        return self.page(request, "board/bench.html", status, rows=rows, note=note, here="/board/")

    async def job_page(self, request: Request, number: int, status: int = HTTPStatus.OK, **said: Any) -> HTTPResponse:
        """Return the page of a stringing."""
        counter = self.counter(request)
        page = await self.pool.run(read_job, counter, number)
        card = build_card(page.decision, counter.wording.words.date) if page.decision else None
        values = {"notes": (), "problem": None, "handed": None, "compared": None, "wrong": None, "given": {}} | said
        return self.page(
            request,
            "board/job.html",
            status,
            page=page,
            card=card,
            kinds=KINDS,
            machines=choices("machine"),
            labels=self.shop.print_label is not None,
            here=f"/board/job/{number}",
            **values,
        )

    async def customer_page(
        self, request: Request, number: int, status: int = HTTPStatus.OK, **said: Any
    ) -> HTTPResponse:
        """Return the page of a customer."""
        page = await self.pool.run(read_customer, self.counter(request), number)
        values = {"notes": (), "problem": None} | said
        return self.page(request, "board/customer.html", status, page=page, here=f"/board/customer/{number}", **values)

    async def drop_off_page(
        self,
        request: Request,
        customer_id: int | None,
        racquet_id: int | None,
        status: int = HTTPStatus.OK,
        **said: Any,
    ) -> HTTPResponse:
        """Return the drop-off form, filled with what is known."""
        counter = self.counter(request)
        page = await self.pool.run(read_customer, counter, customer_id) if customer_id else None
        known = next((one for one in page.racquets if one.racquet.id == racquet_id), None) if page else None
        values = {"notes": (), "problem": None, "wrong": None, "given": {}} | said
        return self.page(
            request,
            "board/drop_off.html",
            status,
            page=page,
            known=known,
            materials=BELONGS,
            sports=choices("sport"),
            checks=choices("frame_check"),
            **values,
        )

    async def leagues_page(self, request: Request, status: int = HTTPStatus.OK, **said: Any) -> HTTPResponse:
        """Return the list of leagues."""
        leagues = await self.pool.run(list_leagues, self.counter(request))
        shown = () if isinstance(leagues, Refusal) else leagues.leagues
        values = {"problem": None, "notes": ()} | said
        return self.page(request, "board/leagues.html", status, leagues=shown, here="/board/leagues", **values)

    def page(self, request: Request, template: str, status: int = HTTPStatus.OK, **values: Any) -> HTTPResponse:
        """Return a page of the board with what every page of it needs."""
        counter = self.counter(request)
        words = counter.wording.words
        common: dict[str, Any] = {
            "token": self.sessions.form_token(request.ctx.session.key),
            "member": request.ctx.member.name,
            "change": request.ctx.change,
            "hears_taps": self.taps is not None,
            "today": counter.today,
            "say_day": words.date,
            "say_iso": lambda text: words.date(dt.date.fromisoformat(text)),
            "term": _term(words.term),
            "phone": show_phone,
            "here": request.path,
        }
        return render(request, template, status, layout="board/page.html", **(common | values))

    def counter(self, request: Request) -> Counter:
        """Return the counter with whoever signed in at it."""
        return self.shop.counter(request.ctx.member.name)


def _term(word: Callable[[str], str]) -> Callable[[str | None], str]:
    terms = load_words()["terms"]
    return lambda value: terms.get(value) or word(value) if value else ""


def _number(request: Request, name: str) -> int | None:
    text = request.args.get(name) or ""
    return int(text) if text.isdecimal() and len(text) < 10 else None  # noqa: PLR2004
