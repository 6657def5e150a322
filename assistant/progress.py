"""A progress bar on the error stream, where somebody looks at it."""

from __future__ import annotations

import sys
from collections.abc import Callable, Iterator
from contextlib import contextmanager

Progress = Callable[[int, int], None]
"""Called with what is done and what there is."""


@contextmanager
def progress_bar(told: str) -> Iterator[Progress]:
    """Give a function that draws how far it has come; it draws nothing where nobody watches."""
    if not sys.stderr.isatty():
        yield lambda _, __: None
        return
    from rich.console import Console
    from rich.progress import BarColumn, MofNCompleteColumn, TextColumn, TimeRemainingColumn
    from rich.progress import Progress as Bar

    columns = (TextColumn("{task.description}"), BarColumn(), MofNCompleteColumn(), TimeRemainingColumn())
    with Bar(*columns, console=Console(stderr=True), transient=True) as bar:
        task = bar.add_task(told, total=None)
        yield lambda done, total: bar.update(task, completed=done, total=total)
