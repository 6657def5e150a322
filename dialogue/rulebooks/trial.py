"""A trial of an edition in a process of its own: the rules engine may hang for ever, or end the process it is in."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from dataclasses import asdict

from rules.rulebook import Rulebook
from rules.trial import Trial, run_trial

LONGEST_SECONDS = 60
"""After so long the process is ended; on a busy machine a book takes about a second."""


def try_book(book: Rulebook, longest: float = LONGEST_SECONDS) -> Trial:
    """Return what became of an edition on every worked situation, whatever the engine did."""
    try:
        done = subprocess.run(
            [sys.executable, "-m", "dialogue.rulebooks.trial"],
            input=json.dumps(dict(book.content)),
            capture_output=True,
            text=True,
            check=False,
            timeout=longest,
            env={**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)},
        )
    except subprocess.TimeoutExpired:
        problem = f"The rules engine did not answer within {longest:g} seconds; take back the last change."
        return Trial(problem=problem)
    try:
        return Trial(**json.loads(done.stdout.splitlines()[-1]))
    except (IndexError, TypeError, ValueError):
        return Trial(problem=f"The rules engine ended with {done.returncode}; take back the last change.")


if __name__ == "__main__":
    sys.stdout.write(json.dumps(asdict(run_trial(json.load(sys.stdin)))) + "\n")
