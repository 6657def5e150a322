"""A rulebook as a folder of files that a shop edits: read with its comments, written with them where they were kept."""

from __future__ import annotations

from collections.abc import Mapping
from pathlib import Path

import yaml

from rules.rulebook import BOOK_FILES, BOOK_FOLDER, OPTIONAL_FILES, Rulebook, load_book

FILES = (*OPTIONAL_FILES, *BOOK_FILES)
WIDTH = 120


def read_folder(folder: Path) -> tuple[Rulebook, dict[str, str]]:
    """Return the edition of a folder, read anew, and its files as they are written.

    Raises:
        BookError: names the file, the row and what to do.
    """
    load_book.cache_clear()
    return load_book(folder), _texts(folder)


def _texts(folder: Path) -> dict[str, str]:
    files = (folder / name for name in FILES)
    return {path.name: path.read_text(encoding="utf-8") for path in files if path.exists()}


def write_folder(folder: Path, book: Rulebook, texts: Mapping[str, str] | None) -> None:
    """Write an edition's files into a folder, with their comments where those are known.

    Args:
        folder: is made where it is not there.
        book: the edition.
        texts: its files as the shop wrote them, where they were kept.

    Raises:
        OSError: when the folder cannot be written.
    """
    if not texts and book.hash == load_book().hash:
        texts = _texts(BOOK_FOLDER)
    if not texts:
        content = {name: book.content[name] for name in FILES if name in book.content}
        texts = {
            name: yaml.safe_dump(part, sort_keys=False, allow_unicode=True, width=WIDTH)
            for name, part in content.items()
        }
    folder.mkdir(parents=True, exist_ok=True)
    for name, text in texts.items():
        (folder / name).write_text(text, encoding="utf-8")
