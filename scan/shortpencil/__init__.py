"""shortpencil for programs: read a photo, print a card, open a store, get the focus.

The names below are stable; see each one's help, or docs/front-door.md. Everything else is inside.
"""

from shortpencil.scan.front_door import *  # noqa: F403  # the names of its `__all__`, which stands there alone
from shortpencil.scan.front_door import __all__ as __all__
