"""Where shortpencil keeps things: one folder, by default in the user's data directory."""

from __future__ import annotations

import os
from pathlib import Path


def home() -> Path:
    """Return the folder for all that is kept: $SHORTPENCIL_HOME, else `shortpencil` in the data directory."""
    own = os.environ.get("SHORTPENCIL_HOME")
    if own:
        return Path(own)
    data = os.environ.get("XDG_DATA_HOME")
    return (Path(data) if data else Path.home() / ".local" / "share") / "shortpencil"


def forms_folder() -> Path:
    """Return the folder of the field maps of printed editions."""
    return home() / "forms"


def default_store() -> Path:
    """Return the file of the store used when `--store` is not given."""
    return home() / "rounds.sqlite"
