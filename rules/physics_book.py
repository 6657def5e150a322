"""Strict reading of the physics data files in book/; knows nothing of what the numbers are used for."""

from __future__ import annotations

import json
from collections.abc import Hashable, Iterator
from pathlib import Path
from typing import Any, Literal, TypeVar

import yaml
from pydantic import BaseModel, ConfigDict, Field, ValidationError, model_validator

from rules.errors import BookError, RulesError

BOOK_FOLDER = Path(__file__).parent / "book"


class PhysicsMissing(RulesError):
    """The numerical packages that the stringbed model needs are not installed."""


class Strict(BaseModel):
    """A part of a data file: no unknown key, no silent conversion, frozen."""

    model_config = ConfigDict(extra="forbid", strict=True, frozen=True, allow_inf_nan=False)


class Source(Strict):
    """Where a number comes from, and what kind of evidence that is."""

    kind: Literal["practice", "house", "published", "quoted", "memory"]
    cite: str = Field(min_length=3)


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

    sources: dict[str, Source]

    @model_validator(mode="after")
    def _sources_exist(self) -> Sourced:
        for place, source in _cited(self.model_dump(exclude={"sources"}), ""):
            if source not in self.sources:
                raise ValueError(f"{place}: source {source!r} is not listed under sources; add it there")
        return self


def _cited(node: Any, place: str) -> Iterator[tuple[str, str]]:
    """Yield every place that cites a source, with the id it cites."""
    if isinstance(node, dict):
        if isinstance(node.get("source"), str):
            yield place.lstrip("."), node["source"]
        for key, child in node.items():
            yield from _cited(child, f"{place}.{key}")


class _UniqueKeys(yaml.SafeLoader):
    """Safe YAML in which a key given twice is an error, for the second would win silently."""


def _mapping(loader: _UniqueKeys, node: yaml.MappingNode) -> dict[Hashable, Any]:
    found: dict[Hashable, Any] = {}
    for key_node, value_node in node.value:
        key = loader.construct_object(key_node, deep=True)
        if key in found:
            raise yaml.constructor.ConstructorError(None, None, f"{key!r} is given twice", key_node.start_mark)
        found[key] = loader.construct_object(value_node, deep=True)
    return found


_UniqueKeys.add_constructor(yaml.resolver.BaseResolver.DEFAULT_MAPPING_TAG, _mapping)

BookModel = TypeVar("BookModel", bound=Sourced)


def read_physics(folder: Path, file: str, model: type[BookModel]) -> BookModel:
    """Return the data file as the model.

    Raises:
        BookError: names the file, the key and the remedy when the file cannot be used.
    """
    try:
        content = yaml.load((folder / file).read_text(encoding="utf8"), Loader=_UniqueKeys)  # noqa: S506 - a SafeLoader
    except OSError as error:
        raise BookError(file, "file", f"cannot be read ({error.strerror}); restore it from the package") from error
    except (yaml.YAMLError, UnicodeDecodeError) as error:
        raise BookError(file, "file", f"is no readable YAML: {error}") from error
    try:
        # by way of JSON, where strict reading still takes a word for an enum member
        return model.model_validate_json(json.dumps(content))
    except (TypeError, ValueError) as error:
        if isinstance(error, ValidationError):
            first = error.errors()[0]
            place = ".".join(str(part) for part in first["loc"]) or "file"
            raise BookError(file, place, f"{first['msg']}; correct the value there") from error
        raise BookError(file, "file", f"{error}; write plain words and numbers") from error
