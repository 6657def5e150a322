"""`copy`: move a shop to another database, compared row by row; the one it comes from stays as it is."""

from __future__ import annotations

import argparse
from dataclasses import asdict, replace

from assistant.desk import add_shared, at_desk
from assistant.exits import Exit
from assistant.progress import progress_bar
from assistant.settings import Settings


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of this command."""
    add_shared(parser)
    parser.add_argument("--from", dest="source", metavar="URL", help="where the shop is now (default: as --db)")
    parser.add_argument("--to", dest="target", metavar="URL", required=True, help="an empty database")


def run(options: argparse.Namespace, settings: Settings) -> Exit:
    """Copy every row and read each back."""
    from assistant.bootstrap import check_stored, copy_to

    here = replace(settings, db=options.source or settings.db)
    check_stored(here)
    with at_desk(options, here) as desk, progress_bar(desk.say("copy_progress")) as progress:
        copied = copy_to(desk.counter.store, replace(settings, db=options.target), progress)
        total = sum(copied.rows.values())
        desk.show(
            asdict(copied) | {"total": total}, [desk.say("copied", target=copied.target, source=copied.source, n=total)]
        )
    return Exit.DONE
