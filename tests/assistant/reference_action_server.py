"""Serves the project's actions through rasa_sdk's own server app: what the protocol is checked against."""

from __future__ import annotations

import sys

from rasa_sdk.endpoint import create_app

from dialogue.actions import build_executor
from dialogue.services import Services
from rules.rulebook import load_book
from storage.database import open_store

if __name__ == "__main__":
    url, port = sys.argv[1:]
    create_app(build_executor(Services(open_store(url), load_book()))).run(
        host="127.0.0.1", port=int(port), single_process=True, access_log=False, motd=False
    )
