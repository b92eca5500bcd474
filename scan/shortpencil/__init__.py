"""shortpencil for programs: read a photo, print a card, open a store, get the focus.

The names below are stable; see each one's help, or docs/front-door.md. Everything else is inside.
"""

from scan.front_door import (
    InputError,
    LayoutError,
    PhotoError,
    RecordError,
    ShortpencilError,
    focus,
    keep,
    open_store,
    plan,
    print_card,
    read,
    sample_photos,
)

__all__ = [
    "InputError",
    "LayoutError",
    "PhotoError",
    "RecordError",
    "ShortpencilError",
    "focus",
    "keep",
    "open_store",
    "plan",
    "print_card",
    "read",
    "sample_photos",
]
