"""`actions`: serves the conversation's actions over HTTP in the open action-server protocol."""

from __future__ import annotations

import argparse
import os
import sys

from assistant.exits import CommandError, Exit
from assistant.settings import Settings

LOOPBACK = "127.0.0.1"
PORT = 5055


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of this command."""
    parser.add_argument("--host", default=LOOPBACK, help="address to listen on (default: this machine only)")
    parser.add_argument("--port", type=int, default=PORT, help=f"port to listen on (default: {PORT})")
    parser.add_argument("--json", action="store_true", help="accepted for symmetry: the server speaks JSON")


def run(options: argparse.Namespace, settings: Settings) -> Exit:
    """Serve until interrupted; COUNTERPULL_ACTIONS_TOKEN, where set, must come with each call."""
    from assistant.action_server import create_app
    from assistant.bootstrap import open_action_calls

    token = os.environ.get("COUNTERPULL_ACTIONS_TOKEN") or None
    if options.host != LOOPBACK and token is None:
        raise CommandError("Beyond this machine the server needs a token: set COUNTERPULL_ACTIONS_TOKEN.")
    with open_action_calls(settings) as calls:
        app = create_app(calls.answer, calls.names, token)
        sys.stderr.write(f"Actions at http://{options.host}:{options.port}/webhook\n")
        app.run(host=options.host, port=options.port, single_process=True, access_log=False, motd=False)
    return Exit.DONE
