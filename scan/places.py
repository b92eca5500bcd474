"""Where shortpencil keeps things: one folder, by default in the user's data directory."""

from __future__ import annotations

import os
import sys
from pathlib import Path

from shortpencil.forms.private import is_open_to_others, tighten

#: The simulated photos that come with the program.
SAMPLES = Path(__file__).parents[1] / "sample_scans"


def home() -> Path:
    """Return the folder for all that is kept: $SHORTPENCIL_HOME, else `shortpencil` in the data directory.

    That is ~/.local/share on Linux (XDG Base Directory), ~/Library/Application Support on macOS,
    the local AppData folder on Windows.
    """
    own = os.environ.get("SHORTPENCIL_HOME")
    if own:
        return Path(own)
    data = os.environ.get("XDG_DATA_HOME")
    if data:  # also where the system has a way of its own: who sets it wants it
        return Path(data) / "shortpencil"
    if sys.platform.startswith("linux"):  # as below, without the time that the library takes to start
        return Path.home() / ".local" / "share" / "shortpencil"
    from platformdirs import user_data_path

    return user_data_path("shortpencil", appauthor=False)


def forms_folder() -> Path:
    """Return the folder of the field maps of printed editions."""
    return home() / "forms"


def default_store() -> str | Path:
    """Return the store used when `--store` is not given: $SHORTPENCIL_STORE, a file or a URL, else ours."""
    own = os.environ.get("SHORTPENCIL_STORE")
    if own:
        return own if "://" in own else Path(own)
    return home() / "rounds.sqlite"


def keep_private() -> None:
    """Close to others what an older version left open: the default folder, and our own files in any folder.

    A folder that the player named by $SHORTPENCIL_HOME keeps its mode; it may be shared on purpose.
    """
    if not os.environ.get("SHORTPENCIL_HOME"):
        tighten(home())
    for path in home().glob("rounds.sqlite*"):
        tighten(path)
    forms = forms_folder()
    if is_open_to_others(forms):  # closed last, so that a start that was killed leaves the rest to the next
        for path in (*forms.glob("*"), *forms.glob("cards/*")):
            tighten(path)
        tighten(forms)
