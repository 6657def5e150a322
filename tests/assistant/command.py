"""Runs the project's commands as somebody at a shell would."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path
from typing import Any

TODAY = "2026-11-24"
ROOT = Path(__file__).parents[2]


def run(*words: str, given: str | bytes = "", env: dict[str, str] | None = None) -> subprocess.CompletedProcess[str]:
    """Run one command with text on its standard input."""
    raw = given.encode() if isinstance(given, str) else given
    done = subprocess.run(
        [sys.executable, "-m", "assistant", *words],
        input=raw,
        capture_output=True,
        check=False,
        cwd=ROOT,
        env={**os.environ, **(env or {})},
        timeout=120,
    )
    return subprocess.CompletedProcess(done.args, done.returncode, done.stdout.decode(), done.stderr.decode())


def lines(done: subprocess.CompletedProcess[str]) -> list[Any]:
    """Return the JSON lines a command printed."""
    return [json.loads(line) for line in done.stdout.splitlines()]
