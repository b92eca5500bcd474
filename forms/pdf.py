"""A drawing as PDF: the only module that knows points, y upwards, fonts and the PDF library."""

from __future__ import annotations

import io
import re
from collections.abc import Container, Iterable
from importlib.resources import files
from typing import Any

from shortpencil.forms.drawing import Blob, CardIdentity, Fill, Line, Outline, Shape, Words
from shortpencil.forms.errors import InputError
from shortpencil.forms.layout import Paper
from shortpencil.forms.serials import card_code
from shortpencil.forms.units import PT_PER_INCH, mm_to_pt

_REGULAR, _BOLD = "ShortpencilRegular", "ShortpencilBold"
_FONT_FILES = {
    _REGULAR: "AtkinsonHyperlegibleNext-Regular.ttf",
    _BOLD: "AtkinsonHyperlegibleNext-Bold.ttf",
}
_GAP = "…"


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
    width = pdfmetrics.stringWidth(text, font, size)
    if words.fit_mm is not None and width > mm_to_pt(words.fit_mm):
        size *= mm_to_pt(words.fit_mm) / width
    canvas.setFillGray(words.grey)
    canvas.setFont(font, size)
    put = {"left": canvas.drawString, "middle": canvas.drawCentredString, "right": canvas.drawRightString}
    put[words.anchor](x, y, text)


def _in_letters_of(glyphs: Container[int], text: str, gaps: bool) -> str:
    """Return a text in letters that a font has; words that it cannot write at all are one gap together."""
    missing = {sign for sign in text if ord(sign) not in glyphs}
    if not missing:
        return text
    if not gaps:
        raise InputError(
            f"The card's font has no letters for {' '.join(sorted(missing))} in {text!r}. "
            "Write the text with Latin letters."
        )
    run = f"[{re.escape(''.join(missing))}]+"
    return re.sub(rf"{run}(?:\s+{run})*", _GAP, text)
