"""Millimetres, points, pixels, metres and feet: the only module that knows 25.4 and 0.3048."""

MM_PER_INCH = 25.4  # exact, international inch
PT_PER_INCH = 72.0  # ISO 32000-1:2008, 8.3.2.3: the default user space unit is 1/72 inch
M_PER_FOOT = 0.3048  # exact, international foot


def mm_to_pt(length_mm: float) -> float:
    """Points of a length in millimetres."""
    return length_mm * PT_PER_INCH / MM_PER_INCH


def pt_to_mm(length_pt: float) -> float:
    """Millimetres of a length in points."""
    return length_pt * MM_PER_INCH / PT_PER_INCH


def to_metres(written: float, unit: str) -> float:
    """Metres of a distance written in `unit`, which is ``"m"`` or ``"ft"``."""
    if unit == "m":
        return float(written)
    if unit == "ft":
        return written * M_PER_FOOT
    raise ValueError(f"unit is 'm' or 'ft', not {unit!r}")
