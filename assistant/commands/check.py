"""`check`: validates rulebook, phrases and cues, shows whose date another rulebook would move, writes it as a page."""

from __future__ import annotations

import argparse
import os
import platform
import sys
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from assistant.exits import CommandError, Exit
from assistant.json_lines import write_line
from assistant.progress import progress_bar
from assistant.settings import Settings

if TYPE_CHECKING:
    from dialogue.counter.wording import Wording

PAGE = ".html"


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of this command."""
    parser.add_argument("--json", action="store_true", help="answer in one JSON object")
    parser.add_argument(
        "--diff", metavar="FOLDER", type=Path, help="whose date or verdict the rulebook in FOLDER would move"
    )
    parser.add_argument("--limit", metavar="N", type=int, default=20, help="with --diff: racquets told one by one")
    parser.add_argument(
        "--page", metavar="FILE", type=Path, help=f"write the rulebook as a page (as --book FILE{PAGE})"
    )


def run(options: argparse.Namespace, settings: Settings) -> Exit:
    """Print every problem found; exit code 2 when there is one."""
    page = options.page
    if settings.book and settings.book.endswith(PAGE) and not Path(settings.book).is_dir():
        page = Path(settings.book)
        settings = replace(settings, book=os.environ.get("COUNTERPULL_BOOK") or None)
    if page:
        return _write_page(page, options, settings)
    if options.diff:
        return _show_difference(options, settings)
    return _check(options, settings)


def _wording(settings: Settings) -> Wording:
    from assistant.bootstrap import open_book
    from dialogue.counter.wording import load_wording

    return load_wording(open_book(settings))


def _check(options: argparse.Namespace, settings: Settings) -> Exit:
    from assistant import bootstrap
    from dialogue.counter.wording import load_wording

    report = bootstrap.check_rulebook(settings) if settings.book else bootstrap.check_everything(settings)
    facts = {**report.facts, "python": platform.python_version()}
    if options.json:
        write_line({"problems": report.problems, "remarks": report.remarks, **facts})
        return Exit.REFUSED if report.problems else Exit.DONE
    # The shop's own book may be the broken one.
    say = load_wording(bootstrap.open_packaged_book()).say
    lines = [say("rulebook.checked.problem", text=text) for text in report.problems]
    lines += [say("rulebook.checked.remark", text=text) for text in report.remarks]
    lines += [say("rulebook.checked.fact", name=name, value=value) for name, value in facts.items()]
    problems = len(report.problems)
    lines.append(say("rulebook.checked.problems", n=problems) if problems else say("rulebook.checked.well"))
    sys.stdout.write("\n".join(lines) + "\n")
    return Exit.REFUSED if report.problems else Exit.DONE


def _show_difference(options: argparse.Namespace, settings: Settings) -> Exit:
    """Show what stands otherwise in a folder's edition, and over every racquet on record what that moves."""
    from assistant.bootstrap import check_rulebook, open_book, open_database
    from dialogue.rulebooks.checking import list_changes
    from dialogue.rulebooks.moving import Editions, find_moved
    from dialogue.rulebooks.wording import tell_changes, tell_movement

    other = replace(settings, book=str(options.diff))
    report = check_rulebook(other)
    if report.problems:
        raise CommandError("\n".join(report.problems))
    wording = _wording(settings)
    editions = Editions(open_book(settings), open_book(other))
    changes = list_changes(editions.old, editions.new)
    with open_database(settings) as store, progress_bar(wording.say("rulebook.difference.progress")) as progress:
        movement = find_moved(store, editions, settings.today, max(options.limit, 0), progress)
    if options.json:
        write_line({"old": editions.old.hash, "new": editions.new.hash, "changes": changes, **movement.to_dict()})
        return Exit.DONE
    lines = [*tell_changes(changes, options.diff, wording), *tell_movement(movement, wording)]
    sys.stdout.write("\n".join(lines) + "\n")
    return Exit.DONE


def _write_page(page: Path, options: argparse.Namespace, settings: Settings) -> Exit:
    from assistant.book_page import write_page
    from assistant.bootstrap import open_book
    from assistant.desk import write_file
    from dialogue.rulebooks.page import read_page

    write_file(page, write_page(read_page(open_book(settings)), settings.today))
    if options.json:
        write_line({"file": str(page)})
    elif str(page) != "-":
        sys.stdout.write(_wording(settings).say("rulebook.checked.page", path=str(page)) + "\n")
    return Exit.DONE
