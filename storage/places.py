"""Where the database lies when nobody names it; light to import, for commands that may not need it at all."""

from __future__ import annotations

from pathlib import Path

import platformdirs

FILE_NAME = "counterpull.sqlite3"


def default_file() -> Path:
    """Return the file that is used when no address is given."""
    return Path(platformdirs.user_data_dir("counterpull", appauthor=False)) / FILE_NAME
