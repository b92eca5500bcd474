"""A drawing as PDF: the only module that knows points, y upwards, fonts and the PDF library."""

from __future__ import annotations

import io
import re
from collections.abc import Container, Iterable
from importlib.resources import files
from typing import Any
from unicodedata import combining, normalize

from shortpencil.forms.drawing import Blob, CardIdentity, Fill, Line, Outline, Shape, Words
from shortpencil.forms.errors import InputError
from shortpencil.forms.layout import Paper
from shortpencil.forms.serials import card_code
from shortpencil.forms.shown import one_line
from shortpencil.forms.units import PT_PER_INCH, mm_to_pt

_REGULAR, _BOLD = "ShortpencilRegular", "ShortpencilBold"
_FONT_FILES = {
    _REGULAR: "AtkinsonHyperlegibleNext-Regular.ttf",
    _BOLD: "AtkinsonHyperlegibleNext-Bold.ttf",
}
_GAP = "…"
#: Nothing is made smaller than this to fit, but cut: a name of 300 letters was a line of dust. Below it no
#: print is read without a glass, by our eyes; five points would cut a length of 999.5 ft.
LEAST_PT = 4.0
#: A letter with the accents that stand behind it.
_LETTER = re.compile("[^\u0300-\u036f][\u0300-\u036f]*|[\u0300-\u036f]")


def qr_rows(code: str) -> tuple[str, ...]:
    """Return the modules of a QR code (ISO/IEC 18004), version 1-Q, "#" where dark, without quiet zone."""
    import segno

    symbol = segno.make(code, version=1, error="q", mode="alphanumeric", boost_error=False)
    return tuple("".join("#" if module else "." for module in row) for row in symbol.matrix)


def identify(serial: str, fingerprint: str, player: str = "") -> CardIdentity:
    """Return what distinguishes one card: its codes, and the name to print if one was given."""
    return CardIdentity(serial, fingerprint, qr_rows(card_code(serial, fingerprint)), player)


def page_size_pt(paper: Paper) -> tuple[float, float]:
    """Width and height of a page in points."""
    return mm_to_pt(paper.width_mm), mm_to_pt(paper.height_mm)


def to_pdf(pages: Iterable[tuple[Shape, ...]], paper: Paper, title: str, *, gaps: bool = False) -> bytes:
    """Return a PDF with one page a drawing. The same drawings give the same bytes: it holds no dates.

    Parameters
    ----------
    gaps : draw letters that the embedded font lacks as a gap; for sheets made of records, where a name is as
        it is

    Raises
    ------
    InputError
        when a text has letters that the embedded font lacks, and no gaps may be left
    """
    from reportlab.pdfgen.canvas import Canvas

    _register_fonts()
    buffer = io.BytesIO()
    canvas = Canvas(buffer, pagesize=page_size_pt(paper), invariant=True, pageCompression=1)
    canvas.setTitle(title)
    canvas.setCreator("shortpencil")
    for shapes in pages:
        for shape in shapes:
            _put(canvas, shape, paper, gaps)
        canvas.showPage()
    canvas.save()
    return buffer.getvalue()


def picture_of(pdf: bytes, dpi: float = 150.0) -> bytes:
    """Return the first page of a PDF as a PNG, to look at before printing."""
    import pypdfium2

    document = pypdfium2.PdfDocument(pdf)
    try:
        picture = document[0].render(scale=dpi / PT_PER_INCH).to_pil().convert("L")
    finally:
        document.close()
    buffer = io.BytesIO()
    picture.save(buffer, "PNG", dpi=(dpi, dpi), optimize=True)
    return buffer.getvalue()


def _register_fonts() -> None:
    from reportlab.pdfbase import pdfmetrics
    from reportlab.pdfbase.ttfonts import TTFont

    for name, file in _FONT_FILES.items():
        if name not in pdfmetrics.getRegisteredFontNames():
            data = io.BytesIO(files("shortpencil.forms.fonts").joinpath(file).read_bytes())
            pdfmetrics.registerFont(TTFont(name, data))


def _put(canvas: Any, shape: Shape, paper: Paper, gaps: bool) -> None:
    def x_pt(x_mm: float) -> float:
        return mm_to_pt(x_mm)

    def y_pt(y_mm: float) -> float:
        return mm_to_pt(paper.height_mm - y_mm)

    if isinstance(shape, Words):
        _put_words(canvas, shape, x_pt(shape.at.x), y_pt(shape.at.y), gaps)
        return
    if isinstance(shape, Line):
        canvas.setStrokeGray(shape.grey)
        canvas.setLineWidth(mm_to_pt(shape.width_mm))
        canvas.setLineCap(1)
        canvas.line(x_pt(shape.start.x), y_pt(shape.start.y), x_pt(shape.end.x), y_pt(shape.end.y))
        return
    box = shape.box
    corner = (x_pt(box.x), y_pt(box.bottom), mm_to_pt(box.w), mm_to_pt(box.h))
    if isinstance(shape, Fill):
        canvas.setFillGray(shape.grey)
        canvas.rect(*corner, stroke=0, fill=1)
    elif isinstance(shape, Blob):
        canvas.setFillGray(shape.grey)
        canvas.roundRect(*corner, mm_to_pt(shape.radius_mm), stroke=0, fill=1)
    elif isinstance(shape, Outline):
        canvas.setStrokeGray(shape.grey)
        canvas.setLineWidth(mm_to_pt(shape.width_mm))
        canvas.roundRect(*corner, min(mm_to_pt(shape.radius_mm), corner[2] / 2), stroke=1, fill=0)


def _put_words(canvas: Any, words: Words, x: float, y: float, gaps: bool) -> None:
    from reportlab.pdfbase import pdfmetrics

    font = _BOLD if words.bold else _REGULAR
    text = _in_letters_of(pdfmetrics.getFont(font).face.charToGlyph, words.text, gaps)
    size = words.size_pt
    if words.fit_mm is not None:
        room = mm_to_pt(words.fit_mm)
        size = min(size, max(LEAST_PT, size * room / max(pdfmetrics.stringWidth(text, font, size), room)))
        whole = text
        while len(text) > 1 and pdfmetrics.stringWidth(text, font, size) > room + 1e-6:
            whole = whole[:-1].rstrip()
            text = whole + _GAP
    canvas.setFillGray(words.grey)
    canvas.setFont(font, size)
    put = {"left": canvas.drawString, "middle": canvas.drawCentredString, "right": canvas.drawRightString}
    put[words.anchor](x, y, text)


def _in_letters_of(glyphs: Container[int], text: str, gaps: bool) -> str:
    """Return a text in letters that a font has.

    Where gaps may be left, a letter without its accent stands in for one that the font lacks, and words that
    it cannot write at all are one gap together.
    """
    if text.isascii() and text.isprintable():  # nearly all there is on a card; the font has these letters
        return text
    letters = _LETTER.findall(normalize("NFC", text))
    missing = sorted({letter for letter in letters if not _has(glyphs, letter)})
    if not missing:
        return "".join(letters)
    plain = {letter: _without_accents(letter) for letter in missing}
    written = "".join(letter if letter not in plain else plain[letter] or "\0" for letter in letters)
    if gaps:
        written = "".join(_GAP if sign == "\0" or not _has(glyphs, sign) else sign for sign in written)
        return re.sub(rf"{_GAP}(?:\s*{_GAP})+", _GAP, written)
    shown = one_line(" ".join(missing))
    if all(_has(glyphs, sign) for sign in written):
        raise InputError(
            f"The card's font has no letters for {shown} in {text!r}. Write it with other letters, as "
            f"in {written!r}."
        )
    raise InputError(
        f"The card's font has no letters for {shown} in {text!r}. Write the text with Latin letters."
    )


def _has(glyphs: Container[int], letter: str) -> bool:
    # An accent that stands alone has its glyph, which would be set over the letter behind it.
    return len(letter) == 1 and ord(letter) in glyphs and not combining(letter)


def _without_accents(letter: str) -> str:
    return "".join(sign for sign in normalize("NFD", letter) if not combining(sign))
