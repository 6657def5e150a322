"""`check`: validates the rulebook, the phrases and the cues, and tells what this machine runs."""

from __future__ import annotations

import argparse
import platform
import sys

from assistant.exits import Exit
from assistant.json_lines import write_line
from assistant.settings import Settings


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of this command."""
    parser.add_argument("--json", action="store_true", help="answer in one JSON object")


def run(options: argparse.Namespace, settings: Settings) -> Exit:
    """Print every problem found; exit code 2 when there is one."""
    from assistant import bootstrap

    report = bootstrap.check_everything(settings)
    if options.json:
        write_line({"problems": report.problems, **report.facts})
    else:
        out = sys.stdout
        for problem in report.problems:
            out.write(f"problem: {problem}\n")
        for name, value in report.facts.items():
            out.write(f"{name}: {value}\n")
        out.write(f"python: {platform.python_version()}\n")
        out.write("All well.\n" if not report.problems else f"{len(report.problems)} problems.\n")
    return Exit.REFUSED if report.problems else Exit.DONE
