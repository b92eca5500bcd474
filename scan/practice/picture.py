"""Small pictures as shapes in mm: the same shapes become SVG on a page and vector ink in a PDF.

A picture is drawn once, with the shapes of `forms.drawing` (black and grey only), and carries a title and a
description, so that it can be read out. Nothing here knows statistics; `charts` does.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache
from html import escape
from itertools import pairwise
from typing import Any

from shortpencil.forms.drawing import Blob, Fill, Line, Outline, Shape, Words
from shortpencil.forms.geometry import Box, Point, box_around
from shortpencil.forms.units import pt_to_mm
from shortpencil.scan.practice.words import held

BLACK, SOFT, LIGHT, PALE = 0.0, 0.35, 0.72, 0.88
SMALL_PT, TEXT_PT, HEAD_PT = 8.0, 9.0, 10.0
FONT_FAMILY = "Atkinson Hyperlegible Next"


@dataclass(frozen=True, slots=True)
class Picture:
    """Shapes on a surface of `width_mm` by `height_mm`, with words for those who can't see it."""

    title: str
    description: str
    width_mm: float
    height_mm: float
    shapes: tuple[Shape, ...]

    def at(self, x_mm: float, y_mm: float) -> list[Shape]:
        """Return the shapes moved so that the picture's top left corner lies there."""
        return [moved(shape, x_mm, y_mm) for shape in self.shapes]


def moved(shape: Shape, dx_mm: float, dy_mm: float) -> Shape:
    """Return a shape moved right and down."""

    def point(p: Point) -> Point:
        return Point(p.x + dx_mm, p.y + dy_mm)

    if isinstance(shape, Line):
        return replace(shape, start=point(shape.start), end=point(shape.end))
    if isinstance(shape, Words):
        return replace(shape, at=point(shape.at))
    box = shape.box
    return replace(shape, box=Box(box.x + dx_mm, box.y + dy_mm, box.w, box.h))


# -- drawing ---------------------------------------------------------------------------------------------


def text(
    x_mm: float,
    y_mm: float,
    words: str,
    *,
    size_pt: float = TEXT_PT,
    bold: bool = False,
    anchor: str = "left",
    grey: float = BLACK,
    fit_mm: float | None = None,
) -> Words:
    """Return one line of type with its baseline at y."""
    return Words(words, Point(x_mm, y_mm), size_pt, bold, anchor, grey, fit_mm)


def line(
    x1_mm: float, y1_mm: float, x2_mm: float, y2_mm: float, *, width_mm: float = 0.25, grey: float = BLACK
) -> Line:
    """Return a straight stroke."""
    return Line(Point(x1_mm, y1_mm), Point(x2_mm, y2_mm), width_mm, grey)


def dashed(
    x1_mm: float, y1_mm: float, x2_mm: float, y2_mm: float, *, width_mm: float = 0.2, grey: float = SOFT
) -> list[Shape]:
    """Return a dashed stroke, 1.2 mm on and 1 mm off."""
    length = ((x2_mm - x1_mm) ** 2 + (y2_mm - y1_mm) ** 2) ** 0.5
    pieces = max(1, int(length / 2.2))
    shapes: list[Shape] = []
    for i in range(pieces):
        a, b = i / pieces, min(1.0, (i + 0.55) / pieces)
        shapes.append(
            line(
                x1_mm + a * (x2_mm - x1_mm),
                y1_mm + a * (y2_mm - y1_mm),
                x1_mm + b * (x2_mm - x1_mm),
                y1_mm + b * (y2_mm - y1_mm),
                width_mm=width_mm,
                grey=grey,
            )
        )
    return shapes


def path(
    points: Sequence[tuple[float, float]], *, width_mm: float = 0.45, grey: float = BLACK
) -> list[Shape]:
    """Return a line through points."""
    return [line(*a, *b, width_mm=width_mm, grey=grey) for a, b in pairwise(points)]


def dot(x_mm: float, y_mm: float, *, radius_mm: float = 1.2, filled: bool = True) -> list[Shape]:
    """Return a round dot, filled or open; an open one hides what runs below it."""
    box = box_around(Point(x_mm, y_mm), 2 * radius_mm, 2 * radius_mm)
    if filled:
        return [Blob(box, radius_mm, BLACK)]
    inner = box.grown(-0.15)
    return [Blob(box, radius_mm, 1.0), Outline(inner, radius_mm - 0.15, 0.35, BLACK)]


def rectangle(x_mm: float, y_mm: float, w_mm: float, h_mm: float, grey: float) -> Fill:
    """Return a filled rectangle."""
    return Fill(Box(x_mm, y_mm, w_mm, h_mm), grey)


def frame(x_mm: float, y_mm: float, w_mm: float, h_mm: float, *, grey: float = BLACK) -> Outline:
    """Return the edge of a rectangle with slightly rounded corners."""
    return Outline(Box(x_mm, y_mm, w_mm, h_mm), 1.0, 0.3, grey)


def paragraph(
    x_mm: float,
    y_mm: float,
    words: str,
    width_mm: float,
    *,
    size_pt: float = TEXT_PT,
    bold: bool = False,
    grey: float = BLACK,
    lead: float = 1.3,
) -> tuple[list[Shape], float]:
    """Return lines of type that fit the width, and the baseline after the last one."""
    step = pt_to_mm(size_pt) * lead
    lines = broken(words, width_mm, size_pt, bold)
    shapes: list[Shape] = [
        text(x_mm, y_mm + i * step, content, size_pt=size_pt, bold=bold, grey=grey, fit_mm=width_mm)
        for i, content in enumerate(lines)
    ]
    return shapes, y_mm + len(lines) * step


def broken(words: str, width_mm: float, size_pt: float, bold: bool = False) -> list[str]:
    """Return the lines into which words break at this width; a number keeps its unit."""
    lines: list[str] = []
    for word in held(words).split(" "):
        longer = f"{lines[-1]} {word}" if lines else word
        if lines and text_width_mm(longer, size_pt, bold) <= width_mm:
            lines[-1] = longer
        else:
            lines.append(word)
    return [content.replace("\N{NO-BREAK SPACE}", " ") for content in lines]


def text_width_mm(words: str, size_pt: float, bold: bool = False) -> float:
    """Return the width of a line of type."""
    return float(_font(bold).getlength(words)) / 100 * pt_to_mm(size_pt)


@lru_cache(maxsize=2)
def _font(bold: bool) -> Any:
    """Return the font at 100 units, to measure with."""
    import io

    from PIL import ImageFont

    return ImageFont.truetype(io.BytesIO(font_bytes(bold)), 100)


def font_bytes(bold: bool) -> bytes:
    """Return the font file that everything printed is set in."""
    from importlib.resources import files

    name = f"AtkinsonHyperlegibleNext-{'Bold' if bold else 'Regular'}.ttf"
    return files("shortpencil.forms.fonts").joinpath(name).read_bytes()


# -- SVG -------------------------------------------------------------------------------------------------


def to_svg(picture: Picture) -> str:
    """Return a picture as static SVG that scales with the page, with its words for screen readers."""
    parts = [
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" viewBox="0 0 {_n(picture.width_mm)} '
        f'{_n(picture.height_mm)}" font-family="{FONT_FAMILY}, Helvetica, Arial, sans-serif">',
        f"<title>{escape(picture.title)}</title>",
        f"<desc>{escape(picture.description)}</desc>",
        *(_svg(shape) for shape in picture.shapes),
        "</svg>",
    ]
    return "\n".join(parts)


def _svg(shape: Shape) -> str:
    if isinstance(shape, Words):
        return _svg_words(shape)
    if isinstance(shape, Line):
        return (
            f'<line x1="{_n(shape.start.x)}" y1="{_n(shape.start.y)}" x2="{_n(shape.end.x)}" '
            f'y2="{_n(shape.end.y)}" stroke="{_colour(shape.grey)}" stroke-width="{_n(shape.width_mm)}" '
            'stroke-linecap="round"/>'
        )
    box = shape.box
    place = f'x="{_n(box.x)}" y="{_n(box.y)}" width="{_n(box.w)}" height="{_n(box.h)}"'
    if isinstance(shape, Fill):
        return f'<rect {place} fill="{_colour(shape.grey)}"/>'
    if isinstance(shape, Blob):
        return f'<rect {place} rx="{_n(shape.radius_mm)}" fill="{_colour(shape.grey)}"/>'
    return (
        f'<rect {place} rx="{_n(shape.radius_mm)}" fill="none" stroke="{_colour(shape.grey)}" '
        f'stroke-width="{_n(shape.width_mm)}"/>'
    )


def _svg_words(shape: Words) -> str:
    size = shape.size_pt
    if shape.fit_mm is not None:
        width = text_width_mm(shape.text, size, shape.bold)
        size *= min(1.0, shape.fit_mm / width) if width > 0 else 1.0
    anchor = {"left": "start", "middle": "middle", "right": "end"}[shape.anchor]
    weight = ' font-weight="700"' if shape.bold else ""
    return (
        f'<text x="{_n(shape.at.x)}" y="{_n(shape.at.y)}" font-size="{_n(pt_to_mm(size))}" '
        f'text-anchor="{anchor}"{weight} fill="{_colour(shape.grey)}">{escape(shape.text)}</text>'
    )


def _colour(grey: float) -> str:
    level = round(255 * min(1.0, max(0.0, grey)))
    return f"#{level:02x}{level:02x}{level:02x}"


def _n(value: float) -> str:
    return f"{value:.3f}".rstrip("0").rstrip(".") or "0"
