"""The open action-server protocol over HTTP: the same actions as in process, for another dialogue engine."""

from __future__ import annotations

import asyncio
import hmac
import json
import logging
from typing import TYPE_CHECKING, Any

from sanic import Request, Sanic, SanicException
from sanic.response import HTTPResponse
from sanic.response import json as json_response

if TYPE_CHECKING:
    from collections.abc import Awaitable, Callable

    from dialogue.action_calls import ActionAnswer

LARGEST_REQUEST = 1_000_000
"""Bytes of one call: a tracker of some thousand turns."""

logger = logging.getLogger(__name__)


def create_app(
    answer: Callable[[dict[str, Any]], Awaitable[ActionAnswer]],
    actions: tuple[str, ...],
    token: str | None = None,
    name: str = "counterpull_actions",
) -> Sanic[Any, Any]:
    """Return the server's application.

    Args:
        answer: runs one call of the protocol and gives a status and a body.
        actions: names of the actions there are.
        token: where set, each call must carry it as a bearer token.
        name: of the application; one process may hold each name once.
    """
    app = Sanic(name, configure_logging=False)
    app.config.REQUEST_MAX_SIZE = LARGEST_REQUEST
    app.config.FALLBACK_ERROR_FORMAT = "json"
    turns = asyncio.Lock()

    @app.on_request
    async def admit(request: Request) -> HTTPResponse | None:
        if request.path == "/health" or _holds_token(request, token):
            return None
        return _error("A valid token is needed.", 401)

    @app.get("/health")
    async def tell_health(_: Request) -> HTTPResponse:
        return json_response({"status": "ok"})

    @app.get("/actions")
    async def list_actions(_: Request) -> HTTPResponse:
        return json_response([{"name": action} for action in actions])

    @app.post("/webhook")
    async def run_action(request: Request) -> HTTPResponse:
        call = _read_call(request.body)
        if call is None:
            return _error("The body must be one JSON object.", 400)
        async with turns:
            result = await answer(call)
        return json_response(result.body, status=result.status)

    app.exception(Exception)(_refuse)
    return app


def _holds_token(request: Request, token: str | None) -> bool:
    return token is None or hmac.compare_digest((request.token or "").encode(), token.encode())


def _read_call(body: bytes) -> dict[str, Any] | None:
    try:
        call = json.loads(body)
    except (ValueError, RecursionError):
        return None
    return call if isinstance(call, dict) else None


async def _refuse(_: Request, error: Exception) -> HTTPResponse:
    if isinstance(error, SanicException):
        return _error(str(error), error.status_code)
    # The request body holds customers' words: only the kind of error goes to the log.
    logger.error("action_failed error=%s", type(error).__name__)
    return _error("The action failed.", 500)


def _error(message: str, status: int) -> HTTPResponse:
    return json_response({"error": message, "action_name": ""}, status=status)
