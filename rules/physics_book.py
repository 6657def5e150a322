"""Strict reading of the physics data files in book/; knows nothing of what the numbers are used for."""

from __future__ import annotations

import json
from collections.abc import Iterator, Mapping
from collections.abc import Set as AbstractSet
from enum import StrEnum
from pathlib import Path
from string import Formatter
from typing import Any, Generic, TypeVar

from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from rules.book_format import SourceSpec, read_yaml
from rules.errors import BookError, RulesError

BOOK_FOLDER = Path(__file__).parent / "book"


class PhysicsMissing(RulesError):
    """The numerical packages that the stringbed model needs are not installed."""


class Strict(BaseModel):
    """A part of a data file: no unknown key, no silent conversion, frozen."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


class Figure(Strict):
    """One number with its unit and the id of its source."""

    value: float
    unit: str = Field(min_length=1)
    source: str
    note: str = ""


class Spread(Strict):
    """A number known only roughly: mean and standard deviation in one unit."""

    mean: float = Field(ge=0)
    sd: float = Field(gt=0)
    unit: str = Field(min_length=1)
    source: str
    note: str = ""


class Sourced(Strict):
    """A data file that names its sources and uses no other."""

    sources: dict[str, SourceSpec]

    @model_validator(mode="after")
    def _sources_exist(self) -> Sourced:
        for place, source in _cited(self.model_dump(exclude={"sources"}), ""):
            if source not in self.sources:
                raise ValueError(f"{place}: source {source!r} is not listed under sources; add it there")
        return self


Remark = TypeVar("Remark", bound=StrEnum)


class Saying(Sourced, Generic[Remark]):
    """A data file that also words what its model says of itself."""

    remarks: dict[Remark, str]

    def say(self, remark: Remark, **values: object) -> str:
        """Return the remark's sentence with its values filled in."""
        return self.remarks[remark].format(**values)


def check_complete(book: Sourced, wanted: Mapping[str, AbstractSet[str]]) -> None:
    """Check that each table of a data file has a line for everything it must have one for.

    Raises:
        ValueError: names the table and the line.
    """
    for table, keys in wanted.items():
        if missing := keys - set(getattr(book, table)):
            raise ValueError(f"{table}: {min(map(str, missing))} is missing; add a line for it")


def _cited(node: Any, place: str) -> Iterator[tuple[str, str]]:
    """Yield every place that cites a source, with the id it cites."""
    if isinstance(node, dict):
        if isinstance(node.get("source"), str):
            yield place.lstrip("."), node["source"]
        for key, child in node.items():
            yield from _cited(child, f"{place}.{key}")


Key = TypeVar("Key", bound=str)


def check_sentences(sentences: Mapping[Key, str], placeholders: Mapping[Key, frozenset[str]]) -> None:
    """Check that every brace in a sentence names a value that will be there.

    Raises:
        ValueError: names the sentence and the brace.
    """
    for key, sentence in sentences.items():
        names = {name for _, name, _, _ in Formatter().parse(sentence) if name is not None}
        if unknown := names - placeholders.get(key, frozenset()):
            raise ValueError(f"remarks.{key}: nothing fills {{{min(unknown)}}}; remove it")


BookModel = TypeVar("BookModel", bound=Sourced)


def read_physics(folder: Path, file: str, model: type[BookModel]) -> BookModel:
    """Return the data file as the model.

    Raises:
        BookError: names the file, the key and the remedy when the file cannot be used.
    """
    content = read_yaml(folder / file)
    try:
        # by way of JSON, where strict reading still takes a word for an enum member
        return model.model_validate_json(json.dumps(content))
    except (TypeError, ValueError) as error:
        if isinstance(error, ValidationError):
            first = error.errors()[0]
            place = ".".join(str(part) for part in first["loc"]) or "file"
            raise BookError(file, place, f"{first['msg']}; correct the value there") from error
        raise BookError(file, "file", f"{error}; write plain words and numbers") from error
