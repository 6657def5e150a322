"""One customer's export as a page to read, with every word on it escaped; decides nothing."""

from __future__ import annotations

import datetime as dt
from collections.abc import Iterator, Mapping
from html import escape
from typing import Any

from dialogue.counter.wording import Wording

STYLE = (
    "body{font:16px/1.5 sans-serif;max-width:60rem;margin:2rem auto;padding:0 1rem;color:#111}"
    "table{border-collapse:collapse;margin:.5rem 0 1rem;width:100%}"
    "th,td{border:1px solid #767676;padding:.25rem .5rem;text-align:left;vertical-align:top;overflow-wrap:anywhere}"
    "th{width:14rem;font-weight:600}"
)


def write_page(export: Mapping[str, Any], wording: Wording, today: dt.date) -> str:
    """Return the export as an HTML page that loads nothing from elsewhere."""
    title = wording.say("screen.export_title", name=export["customer"]["name"])
    parts = [
        "<!DOCTYPE html>",
        f'<html lang="en"><head><meta charset="utf-8"><title>{escape(title)}</title><style>{STYLE}</style></head>',
        f"<body><h1>{escape(title)}</h1><p>{escape(wording.say('screen.export_made', day=today))}</p>",
    ]
    for name, value in export.items():
        rows = value if isinstance(value, list) else [value]
        if rows:
            parts.append(f"<h2>{escape(_head(name))}</h2>")
            parts += [_table(row) for row in rows]
    return "\n".join([*parts, "</body></html>", ""])


def _table(row: Mapping[str, Any]) -> str:
    lines = [
        f"<tr><th>{escape(_head(name))}</th><td>{_cell(value)}</td></tr>" for name, value in row.items() if _says(value)
    ]
    return f"<table>{''.join(lines)}</table>"


def _says(value: Any) -> bool:
    return value not in (None, "", [], {})


def _cell(value: Any) -> str:
    if isinstance(value, Mapping):
        return "<br>".join(_pairs(value))
    if isinstance(value, list):
        return "<br>".join(_cell(item) for item in value)
    return escape(str(value))


def _pairs(value: Mapping[str, Any]) -> Iterator[str]:
    for name, item in value.items():
        if _says(item):
            yield f"{escape(_head(str(name)))}: {_cell(item)}"


def _head(name: str) -> str:
    return name.replace("_", " ").capitalize()
