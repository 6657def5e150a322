"""What a use case answers: frozen, with its JSON form; a refusal is an answer too. Knows no sentence."""

from __future__ import annotations

import datetime as dt
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, fields, is_dataclass
from enum import Enum
from functools import wraps
from typing import Any, ParamSpec, TypeVar

from rules.errors import FactRefused

P = ParamSpec("P")
R = TypeVar("R")


class Term(str):
    """An internal name, such as a material, that is said in the trade's words."""

    __slots__ = ()


@dataclass(frozen=True, kw_only=True)
class Outcome:
    """What every answer can do."""

    def to_dict(self) -> dict[str, Any]:
        """Return the answer as JSON: days and moments in ISO form."""
        return {part.name: as_json(getattr(self, part.name)) for part in fields(self)}


@dataclass(frozen=True, kw_only=True)
class Remark(Outcome):
    """Something a person should hear beside the answer."""

    reason: str
    """Key of its sentence."""
    fact: str = ""
    """The part of the input it is about."""
    values: Mapping[str, Any] = field(default_factory=dict)
    """What its sentence names."""


@dataclass(frozen=True, kw_only=True)
class Refusal(Remark):
    """Why something was not done; nothing was written."""


class Refused(Exception):
    """Ends a use case inside its unit of work, so that nothing of it is kept."""

    def __init__(self, refusal: Refusal) -> None:
        super().__init__(refusal.reason)
        self.refusal = refusal


def refuse(reason: str, fact: str = "", **values: Any) -> Refused:
    """Return the exception that ends a use case with this refusal."""
    return Refused(Refusal(reason=reason, fact=fact, values=values))


def answering(work: Callable[P, R]) -> Callable[P, R | Refusal]:
    """Return the use case with every refusal inside it as its answer."""

    @wraps(work)
    def answer(*args: P.args, **kwargs: P.kwargs) -> R | Refusal:
        try:
            return work(*args, **kwargs)
        except Refused as refused:
            return refused.refusal
        except FactRefused as refused:
            values = {"message": refused.message, "value": refused.value}
            return Refusal(reason="fact", fact=refused.fact, values=values)

    return answer


def as_json(value: Any) -> Any:
    """Return any value of an outcome as JSON."""
    found = value
    if hasattr(value, "to_dict"):
        found = value.to_dict()
    elif isinstance(value, Enum):
        found = value.value
    elif isinstance(value, dt.date):
        found = value.isoformat()
    elif is_dataclass(value) and not isinstance(value, type):
        found = {part.name: as_json(getattr(value, part.name)) for part in fields(value)}
    elif isinstance(value, Mapping):
        found = {str(key): as_json(item) for key, item in value.items()}
    elif isinstance(value, tuple | list):
        found = [as_json(item) for item in value]
    elif isinstance(value, Term):
        found = str(value)
    return found
