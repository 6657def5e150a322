"""Where everything stands on a label of any size: the date as big as it can be, nothing clipped; draws nothing."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from assistant.labels.content import LabelContent
from assistant.labels.qr import QUIET

MM = 72 / 25.4
"""Points of a millimetre."""
DOT = 25.4 / 203
"""Millimetres of one dot of a thermal printer: the squares of the code are whole dots, so they stay sharp."""
DOTS_A_SQUARE = (5, 4, 3, 2)
MARGIN = 1.0
"""Millimetres that stay empty at the edge, for printers that are not exact."""
LARGEST_DATE, SMALLEST_DATE = 48.0, 8.0
"""Sizes of the date in points."""
SMALLEST_TEXT = 4.0
STEP = 0.25
HEADING_PART, DETAIL_PART = 0.4, 0.5
"""Sizes of heading and details, as parts of the date's."""
LARGEST_TAG = 9.0
TAG_HEIGHT = 2.6
"""Millimetres kept for the tag's line."""
LINE = 1.18
"""Height of a line, as a part of its letters' size."""
CODE_PART = 0.45
"""The most of a label's longer side that the code may take."""

Width = Callable[[str, float, bool], float]
"""Width in millimetres of a text at a size in points, bold or not."""


@dataclass(frozen=True)
class Size:
    """Width and height in millimetres."""

    width: float
    height: float


@dataclass(frozen=True)
class Text:
    """One line of letters: its left end and base line in millimetres from the lower left corner."""

    text: str
    x: float
    y: float
    size: float
    """In points."""
    bold: bool = False


@dataclass(frozen=True)
class Layout:
    """A label with everything in its place."""

    texts: tuple[Text, ...]
    """The date first."""
    code_x: float
    code_y: float
    """Lower left corner of the code itself, without its quiet zone."""
    square: float
    """Side of one square of the code."""

    @property
    def date_size(self) -> float:
        """Size of the date in points."""
        return self.texts[0].size


def lay_out(content: LabelContent, size: Size, squares: int, width: Width) -> Layout | None:
    """Return the label laid out with the biggest date that fits, or None where nothing does.

    Args:
        content: the words.
        size: of the label.
        squares: side of the code in squares, without its quiet zone.
        width: how wide a text is.
    """
    found = []
    for dots in DOTS_A_SQUARE:
        square = dots * DOT
        for place in (_beside, _below):
            room = place(size, squares, square)
            if room and (laid := _fill(content, room, width)):
                found.append(Layout(laid, room.code_x, room.code_y, square))
    # A code that is easy to scan counts as much as a bigger date, so the date decides between equal codes only
    # when the smaller code does not make it much bigger.
    return max(found, key=lambda one: (one.date_size * one.square**0.5, one.date_size), default=None)


def least_size(content: LabelContent, size: Size, squares: int, width: Width) -> Size:
    """Return the smallest label of this shape, in whole millimetres, on which everything fits."""
    factor = 1.0
    while True:
        factor *= 1.05
        larger = Size(float(-(-size.width * factor // 1)), float(-(-size.height * factor // 1)))
        if lay_out(content, larger, squares, width):
            return larger


@dataclass(frozen=True)
class _Room:
    """Where the text may stand, and where the code and its tag do."""

    x: float
    y: float
    width: float
    height: float
    code_x: float
    code_y: float
    tag_x: float
    """Left end of the place in whose middle the tag stands."""
    tag_y: float
    tag_width: float


def _beside(size: Size, squares: int, square: float) -> _Room | None:
    """Put the code on the right, its tag under it, and the text on the left."""
    block, quiet = (squares + 2 * QUIET) * square, QUIET * square
    if block + TAG_HEIGHT > size.height or block > size.width * CODE_PART:
        return None
    left = size.width - block
    foot = (size.height - block - TAG_HEIGHT) / 2
    return _Room(
        x=MARGIN,
        y=MARGIN,
        width=left - MARGIN,
        height=size.height - 2 * MARGIN,
        code_x=_snap(left + quiet),
        code_y=_snap(foot + TAG_HEIGHT + quiet),
        tag_x=left,
        tag_y=foot,
        tag_width=block - MARGIN,
    )


def _below(size: Size, squares: int, square: float) -> _Room | None:
    """Put the code at the foot on the right, its tag on the left of it, and the text above."""
    block, quiet = (squares + 2 * QUIET) * square, QUIET * square
    if block > size.width or block > size.height * CODE_PART:
        return None
    return _Room(
        x=MARGIN,
        y=block,
        width=size.width - 2 * MARGIN,
        height=size.height - block - MARGIN,
        code_x=_snap(size.width - block + quiet),
        code_y=_snap(quiet),
        tag_x=MARGIN,
        tag_y=(block - TAG_HEIGHT) / 2,
        tag_width=size.width - block - MARGIN,
    )


def _snap(millimetres: float) -> float:
    return round(millimetres / DOT) * DOT


def _fill(content: LabelContent, room: _Room, width: Width) -> tuple[Text, ...] | None:
    size = LARGEST_DATE
    while size >= SMALLEST_DATE:
        if texts := _stack(content, room, size, width):
            return texts
        size -= STEP
    return None


def _stack(content: LabelContent, room: _Room, size: float, width: Width) -> tuple[Text, ...] | None:
    """Return heading, date and details one under the other at this size of the date, or None where they do not fit."""
    heading, detail = max(SMALLEST_TEXT, HEADING_PART * size), max(SMALLEST_TEXT, DETAIL_PART * size)
    if max(width(content.date, size, True), width(content.heading, heading, True)) > room.width:
        return None
    tag = _tag(content.tag, room, size, width)
    if tag is None:
        return None
    lines = [line for text in content.details for line in _wrap(text, detail, room.width, width)]
    if any(width(line, detail, False) > room.width for line in lines):
        return None
    rows = [(content.heading, heading, True), (content.date, size, True), *((line, detail, False) for line in lines)]
    needed = sum(letters for _, letters, _ in rows) * LINE / MM
    if needed > room.height:
        return None
    placed: list[Text] = []
    # What is left over goes above and below alike.
    y = room.y + room.height - (room.height - needed) / 2
    for text, letters, bold in rows:
        y -= letters * LINE / MM
        placed.append(Text(text, room.x, y + _descent(letters), letters, bold))
    placed[0], placed[1] = placed[1], placed[0]
    return (*placed, tag)


def _tag(tag: str, room: _Room, date: float, width: Width) -> Text | None:
    """Return the tag in letters, smaller than the date, in the middle of its place; None where it does not fit."""
    size = min(LARGEST_TAG, DETAIL_PART * date)
    while size >= SMALLEST_TEXT:
        wide = width(tag, size, False)
        if wide <= room.tag_width:
            return Text(tag, room.tag_x + (room.tag_width - wide) / 2, room.tag_y + _descent(size), size)
        size -= STEP
    return None


def _descent(size: float) -> float:
    return size * 0.25 / MM


def _wrap(text: str, size: float, room: float, width: Width) -> list[str]:
    """Return a text broken at spaces into lines that fit; a word too long stays whole."""
    lines: list[str] = []
    for word in text.split():
        if lines and width(f"{lines[-1]} {word}", size, False) <= room:
            lines[-1] = f"{lines[-1]} {word}"
        else:
            lines.append(word)
    return lines
