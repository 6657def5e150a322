"""`import`: take over a shop's lists of customers and of strings, with a report of every refused line."""

from __future__ import annotations

import argparse
from collections.abc import Iterator
from pathlib import Path
from typing import TYPE_CHECKING

from assistant.desk import Desk, add_shared, at_desk, read_file, write_file
from assistant.exits import Exit
from assistant.progress import progress_bar
from assistant.settings import Settings

if TYPE_CHECKING:
    from dialogue.counter.imports import ImportReport

REPORT_COLUMNS = ("line", "kept", "column", "message")


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of this command."""
    add_shared(parser)
    parser.add_argument("kind", choices=("customers", "catalogue"))
    parser.add_argument("file", type=Path, help="CSV with a line of column heads")
    parser.add_argument("--encoding", help="how its letters are stored (default: found out)")
    parser.add_argument("--report", type=Path, metavar="FILE", help="write every refused line as CSV")


def run(options: argparse.Namespace, settings: Settings) -> Exit:
    """Take the file over; a second run of a file that was stopped goes on where it was."""
    from dialogue.counter.imports import import_catalogue, import_customers

    take_over = import_customers if options.kind == "customers" else import_catalogue
    content = read_file(options.file)
    with at_desk(options, settings) as desk:
        with progress_bar(desk.say("import_progress")) as progress:
            outcome = take_over(desk.counter, content, options.encoding, progress)
        report = desk.need(outcome)
        if options.report:
            write_file(options.report, _report_csv(desk, report))
        desk.show(_spoken(desk, report), _lines(desk, report))
    return Exit.DONE


def _spoken(desk: Desk, report: ImportReport) -> dict[str, object]:
    """Return the report as JSON with each line's sentence."""
    found = report.to_dict()
    for name in ("refused", "partly"):
        for entry, told in zip(getattr(report, name), found[name], strict=True):
            told["remark"]["message"] = desk.counter.wording.remark(entry.remark)
    return found


def _lines(desk: Desk, report: ImportReport) -> Iterator[str]:
    counts = {name: getattr(report, name) for name in ("lines", "added", "changed", "known")}
    yield desk.say("import_lines", refused=len(report.refused), **counts)
    if report.resumed_after:
        yield desk.say("import_resumed", n=report.resumed_after)
    if report.encoding != "utf-8":
        yield desk.say("import_encoding", encoding=report.encoding)
    if report.ignored_columns:
        yield desk.say("import_ignored", columns=list(report.ignored_columns))
    for name in ("refused", "partly"):
        for entry in getattr(report, name):
            yield desk.say(f"import_{name}", line=entry.line, text=desk.counter.wording.remark(entry.remark))


def _report_csv(desk: Desk, report: ImportReport) -> str:
    from assistant.spreadsheet import write_csv

    rows = [
        {
            "line": entry.line,
            "kept": kept,
            "column": entry.remark.fact,
            "message": desk.counter.wording.remark(entry.remark),
        }
        for kept, entries in ((False, report.refused), (True, report.partly))
        for entry in entries
    ]
    return write_csv(REPORT_COLUMNS, rows)
