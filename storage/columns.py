"""The declarative base and the column types every table shares; knows no table."""

from __future__ import annotations

import datetime as dt
import re
from typing import Annotated, Any, ClassVar

from sqlalchemy import JSON, Date, DateTime, Dialect, MetaData, String, Text
from sqlalchemy.orm import DeclarativeBase, mapped_column
from sqlalchemy.types import TypeDecorator, TypeEngine

_UNSTORABLE = re.compile("[\\0\ud800-\udfff]")
NAMES = {
    "ix": "ix_%(table_name)s_%(column_0_N_name)s",
    "uq": "uq_%(table_name)s_%(column_0_N_name)s",
    "ck": "ck_%(table_name)s_%(constraint_name)s",
    "fk": "fk_%(table_name)s_%(column_0_name)s_%(referred_table_name)s",
    "pk": "pk_%(table_name)s",
}
"""Every constraint bears a name, so that a migration can drop it on any database."""

JSONObject = dict[str, Any]
JSONList = list[Any]


class UTC(TypeDecorator[dt.datetime]):
    """A moment, always aware and always in UTC; SQLite alone would hand it back without a zone."""

    impl = DateTime(timezone=True)
    cache_ok = True

    def process_bind_param(self, value: dt.datetime | None, dialect: Dialect) -> dt.datetime | None:  # noqa: ARG002
        """Return the moment in UTC; a moment without a zone is refused, for it means another time elsewhere."""
        if value is None:
            return None
        if value.tzinfo is None:
            message = f"a moment without a zone cannot be stored: {value!r}"
            raise ValueError(message)
        return value.astimezone(dt.UTC)

    def process_result_value(self, value: dt.datetime | None, dialect: Dialect) -> dt.datetime | None:  # noqa: ARG002
        """Return the stored moment with its zone."""
        if value is None:
            return None
        return value.replace(tzinfo=dt.UTC) if value.tzinfo is None else value.astimezone(dt.UTC)


class ShortText(TypeDecorator[str]):
    """Text of a bounded length that every database takes: what some refuse becomes U+FFFD."""

    impl = String
    cache_ok = True
    python_type = str

    def process_bind_param(self, value: str | None, dialect: Dialect) -> str | None:  # noqa: ARG002
        """Return the text as it can be stored and looked for."""
        return value if value is None else make_storable(value)


class PlainText(ShortText):
    """The same for a text of any length."""

    impl = Text
    cache_ok = True


def make_storable(text: str) -> str:
    """Return a text with a mark in the place of every character that no database keeps."""
    if text.isascii() and "\0" not in text:
        return text
    return _UNSTORABLE.sub("\ufffd", text)


class Base(DeclarativeBase):
    """Base of all tables."""

    metadata = MetaData(naming_convention=NAMES)
    type_annotation_map: ClassVar[dict[Any, TypeEngine[Any] | type[TypeEngine[Any]]]] = {
        dt.datetime: UTC(),
        dt.date: Date(),
        JSONObject: JSON(none_as_null=True),
        JSONList: JSON(none_as_null=True),
    }


Key = Annotated[int, mapped_column(primary_key=True)]
Word = Annotated[str, mapped_column(ShortText(40))]
"""A short word out of a fixed set, such as a material or a state."""
Name = Annotated[str, mapped_column(PlainText)]
Kept = {"sqlite_autoincrement": True}
"""Table option: a removed row's number is never given to another row, for the audit trail names rows by number."""
