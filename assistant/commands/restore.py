"""`restore`: put a backup in the place of the database; what was there is kept beside it."""

from __future__ import annotations

import argparse
import sys
from pathlib import Path

from assistant.desk import add_shared
from assistant.exits import CommandError, Exit
from assistant.json_lines import write_line
from assistant.settings import Settings


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of this command."""
    add_shared(parser)
    parser.add_argument("file", type=Path)
    parser.add_argument("--yes", action="store_true", help="do it")


def run(options: argparse.Namespace, settings: Settings) -> Exit:
    """Restore the backup; the database need not be readable for it."""
    from assistant.bootstrap import open_packaged_book, restore_from
    from dialogue.counter.wording import load_wording

    wording = load_wording(open_packaged_book())
    try:
        _check_confirmed(options, wording.say("screen.restore_confirm", path=str(options.file)))
        restored = restore_from(settings, options.file)
    except CommandError as error:
        if options.json:
            write_line({"error": {"fact": None, "value": None, "message": str(error)}})
        raise
    former = str(restored.former) if restored.former else None
    if options.json:
        write_line({"file": str(options.file), "former": former, "rows": dict(restored.backup.rows)})
        return Exit.DONE
    lines = [wording.say("screen.restored", path=str(options.file))]
    if former:
        lines.append(wording.say("screen.restored_former", path=former))
    sys.stdout.write("".join(f"{line}\n" for line in lines))
    return Exit.DONE


def _check_confirmed(options: argparse.Namespace, sentence: str) -> None:
    if not options.yes:
        raise CommandError(sentence)
