"""`backup`: copy the database beside its writers, and check the copy."""

from __future__ import annotations

import argparse
from pathlib import Path

from assistant.desk import add_shared, at_desk
from assistant.exits import Exit
from assistant.settings import Settings


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of this command."""
    add_shared(parser)
    parser.add_argument("folder", type=Path, nargs="?", default=Path("backups"), help="default: backups")
    parser.add_argument("--keep", type=int, default=14, metavar="N", help="how many the folder keeps (default: 14)")


def run(options: argparse.Namespace, settings: Settings) -> Exit:
    """Make the backup."""
    from assistant.bootstrap import back_up_to

    with at_desk(options, settings) as desk:
        made = back_up_to(desk.counter.store, options.folder, max(options.keep, 1))
        answer = {"file": str(made.path), "version": made.version, "rows": dict(made.rows)}
        desk.show(answer, [desk.say("backup_made", path=str(made.path), n=sum(made.rows.values()))])
    return Exit.DONE
