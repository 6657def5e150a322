"""Labels read back by other programs: words by pypdf, the code by zxing-cpp from the picture a printer would make."""

from __future__ import annotations

import datetime as dt
import io
import math
from pathlib import Path

import pypdf
import pypdfium2
import pytest
import reportlab
import zxingcpp
from hypothesis import given, settings
from hypothesis import strategies as st
from PIL import Image

from assistant.labels.content import LabelContent, write_label
from assistant.labels.errors import LabelError
from assistant.labels.layout import MM, Size, lay_out, least_size
from assistant.labels.pdf import SHEETS, Fonts, Sheet, draw_labels, read_sheet, read_size
from assistant.labels.qr import make_code
from dialogue.counter.labels import LabelFacts
from dialogue.counter.wording import load_wording
from rules.rulebook import load_book
from storage.spoken import TAG_LENGTH, TAG_LETTERS

THERMAL_DPI = 203
WORDING = load_wording(load_book())
PLAIN = LabelFacts(
    tag="R87XXW",
    restring_by=dt.date(2026, 9, 4),
    about=False,
    strung_on=dt.date(2026, 5, 4),
    strings="synthetic gut",
    tension="54 lb",
    baseline="38 kgf/cm",
)
LONG = LabelFacts(
    tag="HK42MW",
    restring_by=dt.date(2026, 12, 28),
    about=True,
    strung_on=dt.date(2026, 9, 28),
    strings="Hollow Spin Rough / multifilament",
    tension="50/48 lb",
    baseline="62 defl.",
)
SIZES = ("40x20", "60x25", "90x38", "25x50")
TRUE_TYPE = Path(reportlab.__file__).parent / "fonts" / "Vera.ttf"


def words(facts: LabelFacts) -> LabelContent:
    """Return the words of a label."""
    return write_label(facts, WORDING)


def draw(size: str, *facts: LabelFacts, sheet: Sheet | None = None) -> bytes:
    """Return labels as PDF."""
    return draw_labels([words(one) for one in facts], read_size(size, WORDING), WORDING, sheet)


def print_page(pdf: bytes, page: int = 0, dpi: int = THERMAL_DPI) -> Image.Image:
    """Return a page as a printer of so many dots an inch makes it: black or white."""
    document = pypdfium2.PdfDocument(pdf)
    grey = document[page].render(scale=dpi / 72, grayscale=True).to_pil()
    document.close()
    return grey.point(lambda value: 255 if value > 127 else 0)


def letters(pdf: bytes, page: int = 0) -> list[tuple[str, float]]:
    """Return every piece of text on a page with the size of its letters."""
    found: list[tuple[str, float]] = []

    def visit(text: str, _: object, __: object, ___: object, size: float) -> None:
        if text.strip():
            found.append((text.strip(), size))

    pypdf.PdfReader(io.BytesIO(pdf)).pages[page].extract_text(visitor_text=visit)
    return found


@pytest.mark.parametrize("size", SIZES)
@pytest.mark.parametrize("facts", [PLAIN, LONG])
def test_another_reader_finds_every_word_and_the_date_is_the_biggest(size: str, facts: LabelFacts) -> None:
    """The date stands first after its heading, in the largest letters of the label."""
    pdf = draw(size, facts)
    pieces = letters(pdf)
    content = words(facts)
    text = " ".join(piece for piece, _ in pieces)
    for part in (content.heading, content.date, *content.details, content.tag):
        assert " ".join(part.split()) in text.replace("\n", " ")
    by_size = sorted(pieces, key=lambda piece: -piece[1])
    assert content.date in by_size[0][0]
    assert by_size[0][1] > 1.5 * by_size[1][1]
    (page,) = pypdf.PdfReader(io.BytesIO(pdf)).pages
    width, height = (float(part) for part in size.split("x"))
    assert float(page.mediabox.width) == pytest.approx(width * MM, abs=0.01)
    assert float(page.mediabox.height) == pytest.approx(height * MM, abs=0.01)


@pytest.mark.parametrize("size", [*SIZES, "30x15", "100x150"])
@pytest.mark.parametrize("facts", [PLAIN, LONG])
def test_another_decoder_reads_the_tag_from_a_thermal_printers_picture(size: str, facts: LabelFacts) -> None:
    """At 203 dots an inch the code holds the tag and nothing else."""
    picture = print_page(draw(size, facts))
    codes = zxingcpp.read_barcodes(picture)
    assert [(code.text, code.format.name) for code in codes] == [(facts.tag, "QRCode")]


def test_the_squares_of_the_code_are_whole_dots() -> None:
    """So a thermal printer leaves no grey edge: every square of the picture is wholly black or wholly white."""
    layout = lay_out(words(PLAIN), Size(60, 25), make_code("R87XXW").side, Fonts().width)
    assert layout is not None
    for length in (layout.square, layout.code_x, layout.code_y):
        dots = length / 25.4 * THERMAL_DPI
        assert dots == pytest.approx(round(dots), abs=1e-6)


@settings(max_examples=60, deadline=None)
@given(tag=st.text(TAG_LETTERS, min_size=TAG_LENGTH, max_size=TAG_LENGTH))
def test_every_tag_fits_the_smallest_code(tag: str) -> None:
    """21 squares a side, version 1 (ISO/IEC 18004), and it decodes to the tag."""
    code = make_code(tag)
    assert code.side == 21
    picture = Image.new("L", (29 * 4, 29 * 4), 255)
    for run in code.runs:
        for column in range(run.start, run.start + run.length):
            picture.paste(0, ((column + 4) * 4, (run.row + 4) * 4, (column + 5) * 4, (run.row + 5) * 4))
    assert [found.text for found in zxingcpp.read_barcodes(picture)] == [tag]


@settings(max_examples=80, deadline=None)
@given(
    width=st.floats(20, 160),
    height=st.floats(12, 160),
    strings=st.text("abcdefghij klmnop", max_size=40),
    about=st.booleans(),
    day=st.dates(dt.date(2020, 1, 1), dt.date(2099, 12, 31)),
)
def test_nothing_leaves_the_label_or_covers_anything(
    width: float,
    height: float,
    strings: str,
    about: bool,  # noqa: FBT001 - hypothesis names it
    day: dt.date,
) -> None:
    """Whatever the size: each line inside, the code inside, no two over each other; or a refusal."""
    facts = LabelFacts(
        tag="R87XXW", restring_by=day, about=about, strung_on=day, strings=strings, tension="50/48 lb", baseline="62"
    )
    fonts, code = Fonts(), make_code("R87XXW")
    layout = lay_out(words(facts), Size(width, height), code.side, fonts.width)
    if layout is None:
        return
    boxes = [
        (text.x, text.y, text.x + fonts.width(text.text, text.size, text.bold), text.y + 0.72 * text.size / MM)
        for text in layout.texts
    ]
    side = code.side * layout.square
    boxes.append((layout.code_x, layout.code_y, layout.code_x + side, layout.code_y + side))
    for left, bottom, right, top in boxes:
        assert left >= 0
        assert bottom >= 0
        assert right <= width + 1e-6
        assert top <= height + 1e-6
    for at, one in enumerate(boxes):
        for other in boxes[at + 1 :]:
            apart = one[2] <= other[0] or other[2] <= one[0] or one[3] <= other[1] or other[3] <= one[1]
            assert apart, (one, other)
    assert max(text.size for text in layout.texts) == layout.date_size


def test_a_size_too_small_says_what_would_do() -> None:
    """And the size it names does."""
    with pytest.raises(LabelError, match="R87XXW: not everything fits a label of 12 x 8 mm") as caught:
        draw("12x8", PLAIN)
    named = str(caught.value).split("at least about ")[1].rstrip(" m.").replace(" ", "")
    draw(named, PLAIN)
    least = least_size(words(LONG), Size(30, 12), 21, Fonts().width)
    assert lay_out(words(LONG), least, 21, Fonts().width)


@pytest.mark.parametrize(("count", "skip", "pages"), [(1, 0, 1), (30, 0, 1), (31, 0, 2), (30, 4, 2), (64, 29, 4)])
def test_many_labels_stand_on_a_sheet(count: int, skip: int, pages: int) -> None:
    """Three by ten of 60 x 25 mm on A4; used places are left free, the next sheet is full."""
    pdf = draw("60x25", *[PLAIN] * count, sheet=Sheet(SHEETS["a4"], skip=skip))
    document = pypdf.PdfReader(io.BytesIO(pdf))
    assert len(document.pages) == pages == math.ceil((count + skip) / 30)
    tags = sum(page.extract_text().count("R87XXW") for page in document.pages)
    assert tags == count
    codes = zxingcpp.read_barcodes(print_page(pdf))
    assert [code.text for code in codes] == ["R87XXW"] * min(count, 30 - skip)


def test_the_same_labels_make_the_same_file() -> None:
    """No clock and no chance in the PDF."""
    assert draw("60x25", PLAIN, LONG) == draw("60x25", PLAIN, LONG)


def test_a_letter_the_font_lacks_is_refused_until_a_font_has_it() -> None:
    """A shop may name a font file of its own."""
    foreign = LabelFacts(**{**vars(PLAIN), "strings": "\u7279\u88fd"})
    with pytest.raises(LabelError, match="\u7279"):
        draw("60x25", foreign)
    accents = LabelFacts(**{**vars(PLAIN), "strings": "\u00c9clat fran\u00e7ais"})
    assert "\u00c9clat" in " ".join(piece for piece, _ in letters(draw("60x25", accents)))
    own = draw_labels([words(accents)], Size(60, 25), WORDING, font=TRUE_TYPE)
    assert "\u00c9clat" in pypdf.PdfReader(io.BytesIO(own)).pages[0].extract_text()
    with pytest.raises(LabelError, match="\u7279"):
        draw_labels([words(foreign)], Size(60, 25), WORDING, font=TRUE_TYPE)


@pytest.mark.parametrize("font", [None, TRUE_TYPE])
@pytest.mark.parametrize("sheet", [None, Sheet(SHEETS["a4"])])
def test_every_font_is_embedded(sheet: Sheet | None, font: Path | None) -> None:
    """So every reader shows the widths that were reckoned with, and no word runs into the code."""
    pdf = draw_labels([words(PLAIN), words(LONG)], Size(60, 25), WORDING, sheet, font)
    pages = pypdf.PdfReader(io.BytesIO(pdf)).pages
    assert len(pages) == (1 if sheet else 2)
    for page in pages:
        used = [one.get_object() for one in page["/Resources"]["/Font"].values()]
        assert len({one["/BaseFont"] for one in used}) == (1 if font else 2)
        for one in used:
            assert one["/FontDescriptor"]["/FontFile2"].get_data()


def test_every_letter_of_western_europe_prints() -> None:
    """All of Windows-1252 that can be seen (the Unicode consortium's table of it, as Python holds it)."""
    seen = "".join(
        letter
        for code in range(33, 256)
        if (letter := bytes([code]).decode("cp1252", "ignore")) and letter.isprintable()
    )
    assert len(seen) > 200
    every = LabelFacts(**{**vars(PLAIN), "strings": " ".join(seen[at : at + 12] for at in range(0, len(seen), 12))})
    text = "".join(piece for piece, _ in letters(draw("100x150", every)))
    assert set(seen) - set(text) == set()


def test_a_font_that_is_none_is_refused(tmp_path: Path) -> None:
    """A missing file and a file of something else."""
    other = tmp_path / "other.ttf"
    other.write_text("no font")
    for path in (other, tmp_path / "missing.ttf"):
        with pytest.raises(LabelError, match="no font that can be used"):
            draw_labels([words(PLAIN)], Size(60, 25), WORDING, font=path)


@pytest.mark.parametrize("text", ["", "60", "60x", "x25", "0x25", "-60x25", "60x25x3", "9999x25", "a4", "60 by 25"])
def test_a_size_that_is_none_is_refused(text: str) -> None:
    """The sentence shows how to write one."""
    with pytest.raises(LabelError, match="60x25"):
        read_size(text, WORDING)


def test_sizes_and_sheets_are_read_as_people_write_them() -> None:
    """With a cross or the letter x, a comma or a point."""
    assert read_size(" 62,5 \u00d7 29mm ", WORDING) == Size(62.5, 29)
    assert read_sheet("A4", WORDING) == Size(210, 297)
    assert read_sheet("100x148", WORDING) == Size(100, 148)
    with pytest.raises(LabelError, match="no sheet"):
        read_sheet("legal-ish", WORDING)
    with pytest.raises(LabelError, match="does not fit the sheet"):
        draw("250x25", PLAIN, sheet=Sheet(SHEETS["a4"]))
