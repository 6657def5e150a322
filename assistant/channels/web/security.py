"""What holds for every request: which hosts are served, where forms come from, headers, faults without their inside."""

from __future__ import annotations

import ipaddress
import logging
import socket
from urllib.parse import urlsplit

from sanic import HTTPResponse, Request
from sanic.exceptions import SanicException
from sanic.response.types import BaseHTTPResponse

from assistant.channels.web.pages import App, show_fault
from assistant.channels.web.shop import Fault, Shop
from assistant.channels.web.wording import figure

logger = logging.getLogger(__name__)

HEADERS = {
    "Content-Security-Policy": (
        "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self'; connect-src 'self'; "
        "manifest-src 'self'; form-action 'self'; base-uri 'none'; frame-ancestors 'none'"
    ),
    "X-Content-Type-Options": "nosniff",
    "X-Frame-Options": "DENY",
    "Referrer-Policy": "same-origin",
    "Permissions-Policy": "camera=(), geolocation=(), microphone=(), payment=(), usb=()",
    "Cross-Origin-Opener-Policy": "same-origin",
    "Cross-Origin-Resource-Policy": "same-origin",
}
"""No inline script or style and no other address, so that words typed at the kiosk can never become a program."""
FORM = "application/x-www-form-urlencoded"
SAFE = frozenset({"GET", "HEAD"})
GONE, FORBIDDEN, UNREADABLE, UNKNOWN, FAILED = 421, 403, 400, 404, 500
HIGHEST_NUMBER = 2**31 - 1
"""Of a card or a stringing: what every database has room for."""


def guard(app: App, shop: Shop) -> None:
    """Put the guards around every request of the app."""
    served = served_hosts(shop)

    @app.on_request
    async def check_request(request: Request) -> HTTPResponse | None:
        if not is_served(request.headers.get("host", ""), served):
            return await show_fault(request, GONE)
        # A socket is opened by GET, and another site's page may open one too.
        if (request.method not in SAFE or request.headers.get("upgrade")) and not is_own(request):
            return await show_fault(request, FORBIDDEN)
        if not _is_form(request):
            return await show_fault(request, UNREADABLE)
        if not 0 <= int(request.match_info.get("number", 0)) <= HIGHEST_NUMBER:
            return await show_fault(request, UNKNOWN)
        return None

    async def add_headers(_: Request, response: BaseHTTPResponse) -> None:
        for name, value in HEADERS.items():
            response.headers.setdefault(name, value)
        response.headers.setdefault("Cache-Control", "no-store")

    app.register_middleware(add_headers, "response")

    @app.exception(Exception)
    async def show_error(request: Request, error: Exception) -> HTTPResponse:
        status = _status_of(error, shop.explain(error))
        if status >= FAILED:
            # The kind of error alone: its text may hold what somebody typed.
            logger.error("request_failed error=%s route=%s", type(error).__name__, _route_name(request))
        return await show_fault(request, status)


def limit_requests(app: App) -> None:
    """Bound what one request may send and how long it may take."""
    app.config.REQUEST_MAX_SIZE = figure("body_bytes")
    app.config.REQUEST_MAX_HEADER_SIZE = figure("header_bytes")
    app.config.REQUEST_TIMEOUT = 20
    app.config.RESPONSE_TIMEOUT = 30
    app.config.KEEP_ALIVE_TIMEOUT = 30
    app.config.WEBSOCKET_MAX_SIZE = figure("packet_bytes")
    app.config.ACCESS_LOG = False
    app.config.FALLBACK_ERROR_FORMAT = "text"
    app.config.MOTD = False
    # It rewrites the library's own source at start, once a process: a second server in one would not start. A server
    # that is alone in its process has it done (`serve_alone`).
    app.config.TOUCHUP = False
    # A browser that simply goes away is no fault, and its traceback would be one in the log.
    logging.getLogger("sanic.websockets").setLevel(logging.CRITICAL)


def served_hosts(shop: Shop) -> frozenset[str]:
    """Return the names this server answers to; a name of somebody else's that leads here is a trick."""
    return shop.hosts | {"localhost", socket.gethostname().lower()}


def is_served(host: str, served: frozenset[str]) -> bool:
    """Tell whether a Host header names this server: by number, which nobody can rebind, or by a name of its own."""
    try:
        name = urlsplit(f"//{host}").hostname or ""
    except ValueError:
        return False
    try:
        ipaddress.ip_address(name)
    except ValueError:
        return name in served
    return True


def is_own(request: Request) -> bool:
    """Tell whether a form or a socket comes from a page of this server."""
    origin = request.headers.get("origin")
    if origin is None:
        return request.headers.get("sec-fetch-site", "same-origin") in {"same-origin", "none"}
    return bool(urlsplit(origin).netloc == request.headers.get("host"))


def _is_form(request: Request) -> bool:
    """Tell whether a form can be read; the server's library would log a traceback for one that cannot."""
    try:
        request.body.decode()
    except UnicodeDecodeError:
        return False
    return not request.body or request.headers.get("content-type", FORM).partition(";")[0].strip() == FORM


def _status_of(error: BaseException, fault: Fault | None) -> int:
    if fault:
        return fault.status
    return error.status_code if isinstance(error, SanicException) else FAILED


def _route_name(request: Request) -> str:
    return request.route.name if request.route else "none"
