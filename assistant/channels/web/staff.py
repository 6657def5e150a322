"""Signing in and out of the board, and the gate before every page of it; shows no card."""

from __future__ import annotations

from http import HTTPStatus
from typing import Any

from sanic import Blueprint, HTTPResponse, Request
from sanic.response import redirect
from sanic.response.types import BaseHTTPResponse

from assistant.channels.web.desk import last_change
from assistant.channels.web.pages import PART, App, fields_of, render, show_fault
from assistant.channels.web.pool import Pool
from assistant.channels.web.sessions import STAFF_COOKIE, Sessions, StaffSession
from assistant.channels.web.shop import Shop
from assistant.channels.web.throttle import end_session, forgive, is_ended, let_try
from dialogue.counter.outcomes import Refusal
from dialogue.counter.staff import list_staff, verify_pin

PREFIX = "/board"
OPEN = frozenset({"sign_in_form", "sign_in"})
"""The only routes of the board that need no session."""
SIGNING_IN = "sign-in"
"""What the form tokens of the sign-in page are made from, beside the browser's own key."""


class Gate:
    """Lets nobody onto the board without a PIN."""

    def __init__(self, shop: Shop, sessions: Sessions, pool: Pool) -> None:
        self.shop = shop
        self.sessions = sessions
        self.pool = pool

    def put_before(self, app: App, board: Blueprint) -> None:
        """Check every request to the board, and keep a session alive while it is used.

        The check hangs on the app, not on the board's own routes: a route that is added later is behind it too.
        """
        board.add_route(self.show, "/sign-in", methods=["GET"], name="sign_in_form")
        board.add_route(self.sign_in, "/sign-in", methods=["POST"], name="sign_in")
        board.add_route(self.sign_out, "/sign-out", methods=["POST"], name="sign_out")
        app.register_middleware(self.check, "request")
        app.register_middleware(self.keep_alive, "response")

    async def check(self, request: Request) -> HTTPResponse | None:
        """Let a request through that belongs to a session and, where it changes something, carries its token."""
        if not is_guarded(request):
            return None
        staff, change = await self.pool.run(self._look)
        session = self.sessions.read_staff(
            request.cookies.get(STAFF_COOKIE), lambda number: staff[number].pin_hash if number in staff else None
        )
        if session is None or await self.pool.run(is_ended, self.shop.counter("board"), session.nonce):
            if request.headers.get(PART) or request.headers.get("upgrade"):
                return await show_fault(request, HTTPStatus.UNAUTHORIZED)
            return redirect("/board/sign-in", status=HTTPStatus.SEE_OTHER)
        member = staff[session.staff_id]
        request.ctx.session, request.ctx.member = session, member
        # Read before the page is: what changes in between is told rather than missed.
        request.ctx.change = change
        form = fields_of(request)
        if request.method == "POST" and not self.sessions.is_token(session.key, form.get("token")):
            return await show_fault(request, HTTPStatus.FORBIDDEN)
        return None

    async def keep_alive(self, request: Request, response: BaseHTTPResponse) -> None:
        """Write the cookie anew, seen now."""
        session: StaffSession | None = getattr(request.ctx, "session", None)
        if session:
            self._set_cookie(response, self.sessions.write_staff(session, request.ctx.member.pin_hash))

    async def show(self, request: Request) -> HTTPResponse:
        """Show who may sign in, or how to take somebody on where nobody may."""
        return await self._form(request, None)

    async def sign_in(self, request: Request) -> HTTPResponse:
        """Check a PIN and begin a session; whoever tries too often waits."""
        form = fields_of(request)
        name, pin = form.get("name", ""), form.get("pin", "")
        counter = self.shop.counter("board")
        keys = {"pin_by_address": request.ip, "pin_by_name": name.casefold()}
        if not await self.pool.run(let_try, counter, **keys):
            return await self._form(request, "wait", HTTPStatus.TOO_MANY_REQUESTS)
        answer = await self.pool.run(verify_pin, counter, name, pin)
        if isinstance(answer, Refusal) or not answer.welcome:
            return await self._form(request, "wrong", HTTPStatus.UNPROCESSABLE_ENTITY)
        await self.pool.run(forgive, counter, "pin_by_address", request.ip)
        staff = await self.pool.run(self._staff)
        member = next(row for row in staff.values() if row.name == answer.name)
        _, cookie = self.sessions.begin_staff(member.id, member.pin_hash)
        response = redirect("/board/", status=HTTPStatus.SEE_OTHER)
        self._set_cookie(response, cookie)
        return response

    async def sign_out(self, request: Request) -> HTTPResponse:
        """End the session, on every browser that has its cookie."""
        await self.pool.run(end_session, self.shop.counter("board"), request.ctx.session.nonce)
        request.ctx.session = None
        response = redirect("/board/sign-in", status=HTTPStatus.SEE_OTHER)
        response.delete_cookie(STAFF_COOKIE, path="/board")
        return response

    async def _form(self, request: Request, problem: str | None, status: int = HTTPStatus.OK) -> HTTPResponse:
        staff = await self.pool.run(self._staff)
        names = [row.name for row in staff.values()]
        template = "board/sign_in.html" if names else "board/begin.html"
        return render(request, template, status, layout="board/page.html", names=names, problem=problem)

    def _look(self) -> tuple[dict[int, Any], int]:
        """Return who may sign in, and the last change that was made."""
        return self._staff(), last_change(self.shop.counter("board"))

    def _staff(self) -> dict[int, Any]:
        listed = list_staff(self.shop.counter("board"))
        return {} if isinstance(listed, Refusal) else {row.id: row for row in listed.staff}

    @staticmethod
    def _set_cookie(response: BaseHTTPResponse, cookie: str) -> None:
        response.add_cookie(STAFF_COOKIE, cookie, path="/board", httponly=True, samesite="Strict", secure=False)


def is_guarded(request: Request) -> bool:
    """Tell whether a request is for the board, by its route and by its path, and not to sign in."""
    *_, blueprint, name = ["", *(request.route.name if request.route else "").split(".")]
    if blueprint == "board":
        return name not in OPEN
    return request.path.startswith(PREFIX)
