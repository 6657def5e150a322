"""JSON in and out of commands: one object or one a line, and never a value that is not JSON."""

from __future__ import annotations

import json
import sys
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, BinaryIO

LONGEST_LINE = 4_000_000
"""Characters; longer input is refused, not parsed."""


@dataclass(frozen=True)
class Entry:
    """One JSON value of the input, or what is wrong with it."""

    value: Any = None
    problem: str | None = None
    alone: bool = False
    """True when the input is this one value only."""


def read_entries(source: BinaryIO) -> Iterator[Entry]:
    """Yield the JSON values of a stream: one a line as they come, or the one value that spans all lines."""
    first = next((line for line in source if line.strip()), None)
    if first is None:
        yield Entry(problem="The input is empty; give one JSON object.", alone=True)
        return
    entry = parse_json(first)
    if entry.problem:
        rest = source.read()
        whole = parse_json(first + rest)
        if not whole.problem or not rest.strip():
            yield Entry(whole.value, whole.problem, alone=True)
            return
        yield entry
        yield from (parse_json(line) for line in rest.splitlines() if line.strip())
        return
    second = next((line for line in source if line.strip()), None)
    if second is None:
        yield Entry(entry.value, alone=True)
        return
    yield entry
    yield parse_json(second)
    yield from (parse_json(line) for line in source if line.strip())


def parse_json(raw: bytes) -> Entry:
    """Return the JSON value of some bytes, or a sentence that says what is wrong."""
    if len(raw) > LONGEST_LINE:
        return Entry(problem=f"The line is longer than {LONGEST_LINE:,} bytes; shorten it.")
    try:
        return Entry(json.loads(raw.decode("utf-8-sig")))
    except UnicodeDecodeError as error:
        return Entry(problem=f"The input is not UTF-8 (byte {error.start}); save it as UTF-8.")
    except RecursionError:
        return Entry(problem="The JSON is nested too deeply.")
    except ValueError as error:
        return Entry(problem=f"The input is not JSON: {error}.")


def write_line(value: Any) -> None:
    """Print a value as one line of JSON and send it off at once."""
    sys.stdout.write(json.dumps(value, ensure_ascii=False, allow_nan=False) + "\n")
    sys.stdout.flush()
