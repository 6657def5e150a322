"""Labels as PDF: one a page at its own size, or many on a sheet; decides nothing about their words."""

from __future__ import annotations

import io
import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

import reportlab
from reportlab.pdfbase import pdfmetrics
from reportlab.pdfbase.ttfonts import TTFError, TTFont
from reportlab.pdfgen.canvas import Canvas

from assistant.labels.content import LabelContent
from assistant.labels.errors import LabelError
from assistant.labels.layout import MM, Layout, Size, lay_out, least_size
from assistant.labels.qr import Code, make_code
from dialogue.counter.wording import Wording

SHEETS = {"a4": Size(210, 297), "letter": Size(215.9, 279.4)}
SIZE = re.compile(r"(\d{1,4}(?:[.,]\d+)?)\s*(?:x|\N{MULTIPLICATION SIGN})\s*(\d{1,4}(?:[.,]\d+)?)\s*(?:mm)?")
LARGEST = 2000
"""Millimetres."""
_SHIPPED = Path(reportlab.__file__).parent / "fonts"
PLAIN, BOLD = _SHIPPED / "Vera.ttf", _SHIPPED / "VeraBd.ttf"
"""Bitstream Vera, whose licence (beside the files) lets anybody embed it. A font that is only named is replaced by
another of other widths in some readers, and then words run into the code."""
NARROWED = 0.9
"""Vera runs wide: its letters are set this much narrower, so that a small label holds as much as it can."""


@dataclass(frozen=True)
class Sheet:
    """Paper with many labels on it."""

    size: Size
    margin: float = 8
    gap: float = 2
    skip: int = 0
    """How many places of the first sheet are used up."""


@cache
def _register(path: Path) -> str:
    name = f"label-{path}"
    pdfmetrics.registerFont(TTFont(name, str(path)))
    return name


@dataclass(frozen=True)
class Fonts:
    """The fonts for plain and for bold text, by the names under which they are embedded."""

    plain: str = field(default_factory=lambda: _register(PLAIN))
    bold: str = field(default_factory=lambda: _register(BOLD))
    narrowed: float = NARROWED
    """Width of the letters as a part of the font's own."""

    def width(self, text: str, size: float, bold: bool) -> float:  # noqa: FBT001 - called for every letter
        """Return the width of a text in millimetres."""
        return float(pdfmetrics.stringWidth(text, self.bold if bold else self.plain, size)) * self.narrowed / MM


def draw_labels(
    contents: Sequence[LabelContent],
    size: Size,
    wording: Wording,
    sheet: Sheet | None = None,
    font: Path | None = None,
) -> bytes:
    """Return the labels as PDF.

    Args:
        contents: the words of each label.
        size: of a label.
        wording: for what is said when they cannot be drawn.
        sheet: the paper; None makes each label a page of its own size.
        font: a TTF file; None takes Bitstream Vera. Either is embedded, so that every reader shows the same.

    Raises:
        LabelError: when the words do not fit, or the font lacks a letter.
    """
    fonts = _load_font(font, wording) if font else Fonts()
    laid = [(content, *_lay_out(content, size, fonts, wording)) for content in contents]
    places = _places(size, sheet, wording)
    paper = sheet.size if sheet else size
    target = io.BytesIO()
    canvas = Canvas(
        target,
        pagesize=(paper.width * MM, paper.height * MM),
        invariant=1,
        pageCompression=1,
        initialFontName=fonts.plain,  # type: ignore[arg-type]  # the stubs say float
    )
    canvas.setTitle(wording.say("label.title"))
    at = (sheet.skip if sheet else 0) % len(places)
    for number, (_, layout, code) in enumerate(laid):
        x, y = places[at]
        canvas.saveState()
        canvas.translate(x * MM, y * MM)
        _draw(canvas, layout, code, fonts)
        canvas.restoreState()
        at = (at + 1) % len(places)
        if at == 0 or number == len(laid) - 1:
            canvas.showPage()
    canvas.save()
    return target.getvalue()


def read_size(text: str, wording: Wording) -> Size:
    """Return a size written as "60x25".

    Raises:
        LabelError: when it is none.
    """
    found = SIZE.fullmatch(text.strip().lower())
    if found:
        width, height = (float(part.replace(",", ".")) for part in found.groups())
        if 0 < width <= LARGEST and 0 < height <= LARGEST:
            return Size(width, height)
    raise LabelError(wording.say("label.size_unreadable", value=text[:40]))


def read_sheet(text: str, wording: Wording) -> Size:
    """Return the size of a sheet by its name or in millimetres.

    Raises:
        LabelError: when it is none.
    """
    if text.strip().lower() in SHEETS:
        return SHEETS[text.strip().lower()]
    try:
        return read_size(text, wording)
    except LabelError as error:
        raise LabelError(wording.say("label.sheet_unreadable", value=text[:40])) from error


def _lay_out(content: LabelContent, size: Size, fonts: Fonts, wording: Wording) -> tuple[Layout, Code]:
    _check_letters(content, fonts, wording)
    code = make_code(content.tag)
    layout = lay_out(content, size, code.side, fonts.width)
    if layout is None:
        least = least_size(content, size, code.side, fonts.width)
        raise LabelError(
            wording.say(
                "label.too_small",
                tag=content.tag,
                width=size.width,
                height=size.height,
                needed_width=least.width,
                needed_height=least.height,
            )
        )
    return layout, code


def _check_letters(content: LabelContent, fonts: Fonts, wording: Wording) -> None:
    for text in (content.heading, content.date, *content.details, content.tag):
        for letter in text:
            if not letter.isspace() and not _has(fonts, letter):
                raise LabelError(wording.say("label.letter_missing", tag=content.tag, letter=letter))


def _has(fonts: Fonts, letter: str) -> bool:
    return all(
        ord(letter) in pdfmetrics.getFont(name).face.charToGlyph  # type: ignore[attr-defined]
        for name in (fonts.plain, fonts.bold)
    )


def _load_font(path: Path, wording: Wording) -> Fonts:
    try:
        name = _register(path.resolve())
    except (TTFError, OSError) as error:
        reason = str(error).splitlines()[0][:80] if str(error) else type(error).__name__
        raise LabelError(wording.say("label.font_unreadable", path=str(path), reason=reason)) from error
    return Fonts(name, name, narrowed=1)


def _places(size: Size, sheet: Sheet | None, wording: Wording) -> list[tuple[float, float]]:
    """Return the lower left corner of each label on a page, row by row from the top."""
    if sheet is None:
        return [(0, 0)]
    columns = _fitting(sheet.size.width, size.width, sheet)
    rows = _fitting(sheet.size.height, size.height, sheet)
    if columns < 1 or rows < 1:
        raise LabelError(
            wording.say(
                "label.sheet_too_small",
                width=size.width,
                height=size.height,
                sheet_width=sheet.size.width,
                sheet_height=sheet.size.height,
            )
        )
    top = sheet.size.height - sheet.margin - size.height
    return [
        (sheet.margin + column * (size.width + sheet.gap), top - row * (size.height + sheet.gap))
        for row in range(rows)
        for column in range(columns)
    ]


def _fitting(paper: float, label: float, sheet: Sheet) -> int:
    return int((paper - 2 * sheet.margin + sheet.gap + 1e-6) // (label + sheet.gap))


def _draw(canvas: Canvas, layout: Layout, code: Code, fonts: Fonts) -> None:
    canvas.setFillGray(0)
    for text in layout.texts:
        line = canvas.beginText(text.x * MM, text.y * MM)
        line.setFont(fonts.bold if text.bold else fonts.plain, text.size)
        line.setHorizScale(100 * fonts.narrowed)
        line.textOut(text.text)
        canvas.drawText(line)
    square = layout.square * MM
    for run in code.runs:
        canvas.rect(
            layout.code_x * MM + run.start * square,
            layout.code_y * MM + (code.side - 1 - run.row) * square,
            run.length * square,
            square,
            stroke=0,
            fill=1,
        )
