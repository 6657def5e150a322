"""`rulebook`: the shop's own rulebook: a folder to edit, the switch to it, its undoing, and what was in use when."""

from __future__ import annotations

import argparse
from collections.abc import Iterator, Mapping
from pathlib import Path
from typing import TYPE_CHECKING, Any

from assistant.desk import Actions, Desk, at_desk, read_day
from assistant.exits import CommandError, Exit
from assistant.settings import Settings

if TYPE_CHECKING:
    from dialogue.rulebooks.editions import EditionList, Shelf


def add_options(parser: argparse.ArgumentParser) -> None:
    """Add the options of this command."""
    actions = Actions(parser)
    copy = actions.add("copy", "write the rulebook in use to a new folder, to be edited")
    copy.add_argument("folder", type=Path)
    use = actions.add("use", "check the rulebook of a folder and decide by it from now on, or from a day")
    use.add_argument("folder", type=Path, nargs="?", help="a folder with the rulebook's files")
    use.add_argument("--packaged", action="store_true", help="the rulebook that comes along, instead of a folder")
    use.add_argument(
        "--from", dest="since", metavar="DAY", type=read_day, help="the first day it holds (default: today)"
    )
    actions.add("undo", "take back the last switch")
    actions.add("list", "every rulebook this shop has used, and since when")


def run(options: argparse.Namespace, settings: Settings) -> Exit:
    """Do one action; a rulebook with a problem is refused with exit code 2."""
    from assistant.bootstrap import open_shelf

    with at_desk(options, settings) as desk, open_shelf(settings, desk.counter.who) as shelf:
        if options.action == "copy":
            return _copy(options.folder, desk, shelf)
        if options.action == "use":
            return _use(options, settings, desk, shelf)
        if options.action == "undo":
            return _undo(settings, desk, shelf)
        editions = shelf.list(settings.today)
        desk.show(editions, _listed(editions, desk))
        return Exit.DONE


def _copy(folder: Path, desk: Desk, shelf: Shelf) -> Exit:
    from dialogue.rulebooks.folders import write_folder

    say = desk.counter.wording.say
    if folder.exists() and (not folder.is_dir() or any(folder.iterdir())):
        raise CommandError(say("rulebook.folder_taken", folder=str(folder)))
    book = desk.counter.book
    try:
        write_folder(folder, book, shelf.texts(book.hash))
    except OSError as error:
        raise CommandError(f"{folder} cannot be written ({error.strerror}); name another folder.") from error
    desk.show({"folder": str(folder), "rulebook": book.hash}, [say("rulebook.copied", folder=str(folder))])
    return Exit.DONE


def _use(options: argparse.Namespace, settings: Settings, desk: Desk, shelf: Shelf) -> Exit:
    from dialogue.rulebooks.checking import check_book
    from dialogue.rulebooks.folders import read_folder

    say = desk.counter.wording.say
    if bool(options.folder) == options.packaged:
        raise CommandError(say("rulebook.use_what"))
    book, texts = (shelf.ours, None) if options.packaged else read_folder(options.folder)
    problems = () if options.packaged else check_book(book).problems
    if problems:
        message = "\n".join([*problems, say("rulebook.refused", folder=str(options.folder))])
        if options.json:
            desk.show({"error": {"fact": "rulebook", "value": str(options.folder), "message": message}}, ())
        raise CommandError(message)
    since = options.since or settings.today
    if shelf.in_use(since) == book.hash:
        return _tell(desk, book.hash, None, [say("rulebook.used_already", hash=book.hash)])
    switch = shelf.use(book, since, texts)
    key = "used_ours" if switch.rulebook is None else "used"
    lines = [say(f"rulebook.{key}", day=since, hash=book.hash), say("rulebook.used_running")]
    return _tell(desk, book.hash, switch.to_dict(), lines)


def _tell(desk: Desk, hash_: str, switch: Mapping[str, Any] | None, lines: list[str]) -> Exit:
    desk.show({"rulebook": hash_, "switch": switch}, lines)
    return Exit.DONE


def _undo(settings: Settings, desk: Desk, shelf: Shelf) -> Exit:
    say = desk.counter.wording.say
    switch = shelf.undo()
    now = shelf.in_use(settings.today)
    lines = [say("rulebook.undone_none")]
    if switch:
        lines = [say("rulebook.undone", day=switch.since, who=switch.who), say("rulebook.undone_now", hash=now)]
    desk.show({"undone": switch and switch.to_dict(), "rulebook": now}, lines)
    return Exit.DONE if switch else Exit.NOT_FOUND


def _listed(editions: EditionList, desk: Desk) -> Iterator[str]:
    say = desk.counter.wording.say
    for one in editions.editions:
        use = say("rulebook.list.use") if one.in_use else ""
        decided = say("rulebook.list.decided", n=one.decided) if one.decided else ""
        key = "ours" if one.ours else "own"
        yield say(f"rulebook.list.{key}", hash=one.rulebook, use=use, decided=decided)
        for switch in editions.switches:
            if switch.rulebook == one.rulebook or (one.ours and switch.rulebook is None):
                yield say("rulebook.list.since", day=switch.since, who=switch.who)
