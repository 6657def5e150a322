"""The routes as openapi.yaml describes them, with what a test needs to ask for each."""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import yaml

from assistant.channels import web

FILE = Path(web.__file__).with_name("openapi.yaml")
METHODS = ("get", "post")
SOCKETS = frozenset({"kiosk.hear", "board.live", "board.taps"})


@dataclass(frozen=True)
class Route:
    """One route and one method."""

    name: str
    path: str
    """With places in braces."""
    method: str
    who: str
    """anybody, kiosk or staff."""
    fields: dict[str, Any]
    """The schemas of its form's fields."""
    codes: frozenset[int]

    @property
    def example(self) -> str:
        """An address of it: the third stringing or card, one step of it."""
        return self.path.format(number=3, step="ready", name="screen.css")


def read_routes() -> tuple[Route, ...]:
    """Return every route that is described."""
    return tuple(_read())


def _read() -> Iterator[Route]:
    spec = yaml.safe_load(FILE.read_text("utf-8"))
    for path, methods in spec["paths"].items():
        for method in METHODS:
            if method not in methods:
                continue
            told = methods[method]
            who = next(iter(told["security"][0])) if told["security"] else "anybody"
            form = next(iter(told.get("requestBody", {}).get("content", {}).values()), {"schema": {"properties": {}}})
            fields = {name: _resolve(spec, schema) for name, schema in form["schema"]["properties"].items()}
            codes = frozenset(int(code) for code in told["responses"])
            yield Route(told["operationId"], path, method.upper(), who, fields, codes)


def _resolve(spec: dict[str, Any], schema: dict[str, Any]) -> dict[str, Any]:
    place = schema.get("$ref")
    found: dict[str, Any] = spec["components"]["schemas"][place.rsplit("/", 1)[1]] if place else schema
    return found


def shape_of(path: str) -> str:
    """Return a path of the server's router in the way of openapi.yaml."""
    return "/" + re.sub(r"<(\w+):\w+>", r"{\1}", path)
