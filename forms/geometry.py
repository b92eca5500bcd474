"""Points and boxes in the card frame: millimetres, origin at the sheet's top left, x right, y down."""

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Point:
    """A place on the sheet in mm."""

    x: float
    y: float


@dataclass(frozen=True, slots=True)
class Box:
    """An upright rectangle on the sheet in mm; (x, y) is its top left corner."""

    x: float
    y: float
    w: float
    h: float

    @property
    def right(self) -> float:
        return self.x + self.w

    @property
    def bottom(self) -> float:
        return self.y + self.h

    @property
    def centre(self) -> Point:
        return Point(self.x + self.w / 2, self.y + self.h / 2)

    def grown(self, margin_mm: float) -> "Box":
        """Return this box with `margin_mm` added on each side (taken away if negative)."""
        return Box(self.x - margin_mm, self.y - margin_mm, self.w + 2 * margin_mm, self.h + 2 * margin_mm)

    def contains(self, other: "Box") -> bool:
        """Say whether `other` lies wholly inside this box, edges allowed."""
        return (
            self.x <= other.x
            and self.y <= other.y
            and other.right <= self.right
            and other.bottom <= self.bottom
        )

    def overlaps(self, other: "Box") -> bool:
        """Say whether the two boxes share area; a common edge is no overlap."""
        return (
            self.x < other.right and other.x < self.right and self.y < other.bottom and other.y < self.bottom
        )


def box_around(centre: Point, w_mm: float, h_mm: float) -> Box:
    """Return the box of that width and height around `centre`."""
    return Box(centre.x - w_mm / 2, centre.y - h_mm / 2, w_mm, h_mm)


def distance_to_fold(box: Box, width_mm: float, height_mm: float) -> float:
    """Smallest distance in mm from `box` to a fold line of a sheet folded in four; 0 if a fold crosses it."""
    return min(_gap(box.x, box.right, width_mm / 2), _gap(box.y, box.bottom, height_mm / 2))


def _gap(low: float, high: float, line: float) -> float:
    return max(low - line, line - high, 0.0)
