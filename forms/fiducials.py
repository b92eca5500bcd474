"""The four corner marks: which, how large, where, and the picture of each.

They are markers of OpenCV's predefined dictionary DICT_4X4_50, a general-purpose set whose detector ships
with the library. The four ids were chosen for the largest distance between any two of them under rotation (7
of 16 bits) and to themselves turned (6 bits), and to avoid ids 0 to 2, which stray markers in the world
mostly carry. Their pictures stand here as tables, so that printing needs no vision library; a test compares
them with OpenCV's own.
"""

import re
from dataclasses import dataclass

from shortpencil.forms.geometry import Box

#: Side of a marker with its black border. Six modules of 2 mm: at 3 px/mm, a phone picture of 1000 pixels, a
#: module is still 6 pixels, twice what the detector needs.
MARKER_MM = 12.0

#: White around a marker that nothing may enter: one module is the least the detector needs.
QUIET_MM = 2.0

#: Marker ids clockwise from the top left corner.
CORNER_IDS = (3, 5, 31, 25)

#: Dark modules (#) of each marker, border included, row by row from the top.
PICTURES = {
    3: ("######", "#.##.#", "#.##.#", "##.###", "##..##", "######"),
    5: ("######", "##...#", "#.##.#", "#..###", "#..#.#", "######"),
    25: ("######", "#.##.#", "##.###", "##...#", "####.#", "######"),
    31: ("######", "##.#.#", "##...#", "#.#..#", "###.##", "######"),
}


@dataclass(frozen=True, slots=True)
class Fiducial:
    """One corner mark on the sheet."""

    id: int
    box: Box


def corner_fiducials(width_mm: float, height_mm: float, margin_mm: float) -> tuple[Fiducial, ...]:
    """Return the marks of a sheet, clockwise from the top left, their outer edges on the margin."""
    left, top = margin_mm, margin_mm
    right, bottom = width_mm - margin_mm - MARKER_MM, height_mm - margin_mm - MARKER_MM
    corners = ((left, top), (right, top), (right, bottom), (left, bottom))
    return tuple(
        Fiducial(marker, Box(x, y, MARKER_MM, MARKER_MM))
        for marker, (x, y) in zip(CORNER_IDS, corners, strict=True)
    )


def dark_modules(fiducial: Fiducial) -> tuple[Box, ...]:
    """Return the black rectangles that draw a marker."""
    rows = PICTURES[fiducial.id]
    return dark_runs(rows, fiducial.box.x, fiducial.box.y, fiducial.box.w / len(rows))


def dark_runs(rows: tuple[str, ...], x_mm: float, y_mm: float, module_mm: float) -> tuple[Box, ...]:
    """Return black rectangles for rows of modules ("#" dark): one a run, so that no hairlines part them."""
    return tuple(
        Box(x_mm + run.start() * module_mm, y_mm + r * module_mm, len(run[0]) * module_mm, module_mm)
        for r, row in enumerate(rows)
        for run in re.finditer("#+", row)
    )
