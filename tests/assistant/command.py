"""Runs the project's commands as somebody at a shell would."""

from __future__ import annotations

import json
import os
import subprocess
import sys
import tempfile
from pathlib import Path
from typing import Any

TODAY = "2026-11-24"
ROOT = Path(__file__).parents[2]
NO_DATA = str(Path(tempfile.gettempdir()) / "no-counterpull-data")
"""Where there is no database, so that a rulebook which somebody uses on this machine decides no test."""


def run(*words: str, given: str | bytes = "", env: dict[str, str] | None = None) -> subprocess.CompletedProcess[str]:
    """Run one command with text on its standard input."""
    raw = given.encode() if isinstance(given, str) else given
    done = subprocess.run(
        [sys.executable, "-m", "assistant", *words],
        input=raw,
        capture_output=True,
        check=False,
        cwd=ROOT,
        env={"XDG_DATA_HOME": NO_DATA, **os.environ, **(env or {})},
        timeout=120,
    )
    return subprocess.CompletedProcess(done.args, done.returncode, done.stdout.decode(), done.stderr.decode())


def lines(done: subprocess.CompletedProcess[str]) -> list[Any]:
    """Return the JSON lines a command printed."""
    return [json.loads(line) for line in done.stdout.splitlines()]
