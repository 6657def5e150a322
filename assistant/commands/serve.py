"""`serve`: kiosk and staff board in one web server, on this machine alone unless another address is named."""

from __future__ import annotations

import argparse
import datetime as dt
import ipaddress
import os
import secrets
import socket
import sys

from assistant.exits import CommandError, Exit
from assistant.settings import Settings

LOOPBACK = "127.0.0.1"
PORT = 8080
SECRET_VARIABLE = "COUNTERPULL_SECRET"  # noqa: S105 - the name of a variable
SHORTEST_SECRET = 32
MOST_WORKERS = 64


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of this command."""
    parser.add_argument("--host", default=LOOPBACK, help="address to listen on (default: this machine only)")
    parser.add_argument("--port", type=int, default=PORT, help=f"port to listen on, 0 is any (default: {PORT})")
    parser.add_argument("--name", action="append", default=[], help="another name this server is called by; repeatable")
    parser.add_argument("--kiosk-only", action="store_true", help="no staff board")
    parser.add_argument(
        "--workers", type=int, default=1, help=f"processes that share the work, {MOST_WORKERS} at most (default: 1)"
    )
    parser.add_argument(
        "--no-microphone", action="store_true", help="nobody can speak to the kiosk, or tap for the board"
    )
    parser.add_argument("--region", default="US", help="where phone numbers without a country code belong")


def run(options: argparse.Namespace, settings: Settings) -> Exit:
    """Serve until interrupted."""
    from assistant.bootstrap import Surroundings, open_database, open_shop, warm_up
    from assistant.channels.web.app import build_app
    from assistant.channels.web.ears import can_hear
    from assistant.channels.web.running import serve_alone
    from assistant.channels.web.tapping import can_hear_taps
    from assistant.workers import serve_with_workers

    if not 1 <= options.workers <= MOST_WORKERS:
        raise CommandError(f"--workers {options.workers} cannot be; give 1 to {MOST_WORKERS}.")
    listening = listen(options.host, options.port)
    surroundings = Surroundings(
        today=(lambda: settings.today) if options.today else _today,
        region=options.region,
        kiosk_only=options.kiosk_only,
        hears=can_hear() and not options.no_microphone,
        hears_taps=can_hear_taps() and not options.no_microphone,
        hosts=frozenset(name.lower() for name in [*options.name, options.host]),
        secret=_secret() or secrets.token_bytes(SHORTEST_SECRET),
    )

    def serve_shop() -> None:
        with open_shop(settings, surroundings) as shop:
            serve_alone(build_app(shop), listening)

    with listening:
        # What is wrong with rulebook or database is said once and before anybody is invited in; a new file gets
        # its tables here, not from several workers at once.
        warm_up(settings)
        with open_database(settings) as store:
            if options.workers > 1 and store.in_memory:
                raise CommandError("Workers share one database; name a file or a PostgreSQL server with --db.")
        port, deaf = listening.getsockname()[1], not can_hear() and not options.no_microphone
        sys.stderr.write(announce(options.host, port, board=not options.kiosk_only, deaf=deaf))
        sys.stderr.flush()
        if options.workers == 1:
            serve_shop()
        else:
            serve_with_workers(options.workers, serve_shop)
    return Exit.DONE


def listen(host: str, port: int) -> socket.socket:
    """Return a socket that listens.

    Raises:
        CommandError: when the address is not this machine's or the port is taken.
    """
    try:
        kind = socket.AF_INET6 if ":" in host else socket.AF_INET
        listening = socket.create_server((host, port), family=kind, backlog=256)
    except (OSError, OverflowError) as error:
        reason = getattr(error, "strerror", None) or str(error)
        raise CommandError(f"{host} port {port} cannot be used ({reason}); name another --port or --host.") from error
    listening.setblocking(False)
    return listening


def announce(host: str, port: int, *, board: bool, deaf: bool = False) -> str:
    """Return what is said at the start: where to go, what is missing, and plainly who else can come in."""
    shown = "127.0.0.1" if host in ("0.0.0.0", "::") else host  # noqa: S104 - only compared
    base = f"http://[{shown}]:{port}" if ":" in shown else f"http://{shown}:{port}"
    lines = [f"Kiosk: {base}/"] + ([f"Staff board: {base}/board/"] if board else [])
    if deaf:
        lines.append("Nobody can speak to the kiosk: that needs pip install 'counterpull[voice]'.")
    if not _is_loopback(host):
        what = "the kiosk and the sign-in page of the staff board" if board else "the kiosk"
        lines += [
            f"OPEN TO THE NETWORK: everybody who reaches {host} port {port} can open {what}.",
            "Nothing is encrypted on the way, PINs included: use a network you trust, or a server with TLS before it.",
            "Without TLS, browsers on other machines give no microphone either.",
        ]
    return "".join(f"{line}\n" for line in [*lines, "Stop with Ctrl+C."])


def _is_loopback(host: str) -> bool:
    try:
        return ipaddress.ip_address(host).is_loopback
    except ValueError:
        return host == "localhost"


def _today() -> dt.date:
    return dt.datetime.now().astimezone().date()


def _secret() -> bytes | None:
    """Return what signs the cookies: one secret for several servers, or None where a run makes its own."""
    text = os.environ.get(SECRET_VARIABLE)
    if not text:
        return None
    if len(text) < SHORTEST_SECRET:
        raise CommandError(f"{SECRET_VARIABLE} is too short; give {SHORTEST_SECRET} random characters or more.")
    return text.encode()
