"""One web server: kiosk, board, static files and guards put together; knows no page."""

from __future__ import annotations

import asyncio
import hashlib
import mimetypes
from collections.abc import Mapping
from itertools import count
from pathlib import Path

from sanic import HTTPResponse, Request, Sanic
from sanic.response import raw

from assistant.channels.web.board import Board
from assistant.channels.web.board_acts import Acts
from assistant.channels.web.ears import SharedEars
from assistant.channels.web.kiosk import Kiosk
from assistant.channels.web.microphone import Microphone
from assistant.channels.web.pages import App, build_environment, show_fault
from assistant.channels.web.pool import Pool
from assistant.channels.web.security import guard, limit_requests
from assistant.channels.web.sessions import Sessions
from assistant.channels.web.shop import Shop
from assistant.channels.web.staff import Gate
from assistant.channels.web.tapping import TapEar
from assistant.channels.web.wording import figure

STATIC = Path(__file__).parent / "static"
ICON = "icon.svg"
_numbers = count(1)


def build_app(shop: Shop) -> App:
    """Return the web server of a shop, ready to be run."""
    # Sanic knows its apps by name; two of one name cannot be in one process.
    app: App = Sanic(f"counterpull-{next(_numbers)}", configure_logging=False)
    limit_requests(app)
    app.ctx.environment = build_environment()
    sessions = Sessions(shop.secret)
    turns, reads, sounds = Pool(figure("turn_threads")), Pool(figure("board_threads")), Pool(figure("ear_threads"))
    ears = SharedEars(shop.load_listener, sounds)
    guard(app, shop)
    Kiosk(shop, sessions, turns, Microphone(ears, sounds, shop.today)).add_to(app)
    if not shop.kiosk_only:
        _add_board(app, Board(shop, sessions, reads, TapEar(sounds) if shop.hears_taps else None))
    _add_static(app, _read_static())

    @app.after_server_start
    async def load_ears(_: App) -> None:
        ears.begin()

    @app.after_server_stop
    async def let_go(_: App) -> None:
        await ears.close()
        for pool in (turns, reads, sounds):
            pool.close()

    return app


def _add_board(app: App, board: Board) -> None:
    pages = board.routes()
    Acts(board).add_to(pages)
    Gate(board.shop, board.sessions, board.pool).put_before(app, pages)
    app.blueprint(pages)
    app.register_middleware(board.allow_microphone, "response")

    @app.after_server_start
    async def watch(running: App) -> None:
        running.ctx.watching = asyncio.create_task(board.live.watch())

    @app.before_server_stop
    async def stop_watching(running: App) -> None:
        running.ctx.watching.cancel()


def _read_static() -> Mapping[str, tuple[bytes, str, str]]:
    """Return every static file by name with its kind and its mark; only these can be asked for."""
    found = {}
    for path in sorted(STATIC.iterdir()):
        content = path.read_bytes()
        kind = mimetypes.guess_type(path.name)[0] or "application/octet-stream"
        text = f"{kind}; charset=utf-8" if kind.startswith("text/") else kind
        found[path.name] = (content, text, f'"{hashlib.sha256(content).hexdigest()[:16]}"')
    return found


def _add_static(app: App, files: Mapping[str, tuple[bytes, str, str]]) -> None:
    async def send(request: Request, name: str = ICON) -> HTTPResponse:
        if name not in files:
            return await show_fault(request, 404)
        content, kind, mark = files[name]
        headers = {"ETag": mark, "Cache-Control": "no-cache"}
        if request.headers.get("if-none-match") == mark:
            return raw(b"", status=304, headers=headers)
        return raw(content, content_type=kind, headers=headers)

    app.add_route(send, "/static/<name:str>", name="static")
    # Asked for by viewers that read no page, such as that of the label.
    app.add_route(send, "/favicon.ico", name="icon")
