"""What a killed program left undone is finished at the next start: erasing, and clearing up after itself.

Erasing a player goes through a database and some files. Before it begins, what is to be erased is noted in
the data folder; the note goes when all is done, so that a note which is still there says what to finish.
"""

from __future__ import annotations

import json
import os
from collections.abc import Iterator
from contextlib import contextmanager
from pathlib import Path
from typing import TYPE_CHECKING, Any

from shortpencil.scan.places import forms_folder, home

if TYPE_CHECKING:
    from shortpencil.forms.errors import ShortpencilError
    from shortpencil.scan.records.belonging.forgetting import Traces
    from shortpencil.scan.records.store import Store

FORGET, ERASE, OFF = "forget", "erase", "off"
_WORK = ".shortpencil-work.*"  # as `scan.records.backup` names them, which takes too long to load to be asked


def notes_folder() -> Path:
    """Return the folder of the notes."""
    return home() / "unfinished"


def known_of(store: Store, forms: Path, player: str) -> tuple[Traces, int]:
    """Return what the store keeps of a player and how many cards are known to be theirs.

    Parameters
    ----------
    forms : the folder of printed cards

    Raises
    ------
    InputError
        when nothing is kept of such a player
    """
    from shortpencil.forms.catalog import Catalog
    from shortpencil.forms.errors import InputError

    found, printed = store.traces_of(player), len(Catalog(forms).cards_of(player))
    if not found and not printed:
        raise InputError(
            f"{player}: expected the alias of a player, found nobody of that name. `shortpencil rounds` "
            "shows the players."
        )
    return found, printed


def forget_player(store: Store, forms: Path, player: str, place: str | Path) -> Traces:
    """Erase a player from the store and from what is known of printed cards; a kill is finished later.

    Parameters
    ----------
    forms : the folder of printed cards
    place : where the store is, to find it again
    """
    from shortpencil.forms.catalog import Catalog

    with _noted(FORGET, player, place):
        found = store.forget(player)
        Catalog(forms).forget(player)
    return found


def erase_hand(store: Store, player: str, place: str | Path, *, off: bool) -> int:
    """Erase what is kept of a player's hand, and if `off` keep none any more; return how many boxes it was.

    A kill is finished later; `place` is where the store is, to find it again.
    """
    with _noted(OFF if off else ERASE, player, place):
        return store.erase_hand(player, on=False if off else None)


@contextmanager
def _noted(what: str, player: str, place: str | Path) -> Iterator[None]:
    """Note what is to be erased while the block erases it; refused as a whole, nothing is left to finish.

    Parameters
    ----------
    what : FORGET, ERASE or OFF
    place : the store; a password in a URL is not noted
    """
    from shortpencil.forms.errors import ShortpencilError
    from shortpencil.forms.files import write_whole

    note = {"what": what, "player": player, "store": _noted_place(place)}
    path = notes_folder() / f"{os.urandom(8).hex()}.json"
    write_whole(path, json.dumps(note).encode(), private=True)
    try:
        yield
    except ShortpencilError:
        if _is_whole(place, what, player):
            path.unlink(missing_ok=True)
        raise
    path.unlink(missing_ok=True)


def finish(asked: str | None) -> Iterator[str | ShortpencilError]:
    """Clear what killed programs left and finish what was cut short; yield each player who is erased now.

    Where it can't be finished, the reason comes in place of the player, and the next start tries again.

    Parameters
    ----------
    asked : the store that the user named, if any: its password is in no note
    """
    from shortpencil.forms.files import clear_unfinished
    from shortpencil.scan import leftovers

    leftovers.clear(leftovers.UPLOAD, leftovers.WORK)
    for folder in (home(), forms_folder(), forms_folder() / "cards", notes_folder()):
        clear_unfinished(folder)
    _clear_work(asked)
    notes = notes_folder()
    for path in sorted(notes.glob("*.json")) if notes.is_dir() else ():
        yield _finish_one(path, asked)


def _clear_work(asked: str | None) -> None:
    """Clear what a killed `restore` or `backup` left beside the store: a copy of it that nobody knows of."""
    folders = {home(), Path(asked).parent if asked and "://" not in asked else home()}
    for folder in folders:
        if any(folder.glob(_WORK)):
            from shortpencil.scan.records.backup import clear_work

            clear_work(folder)


def _finish_one(path: Path, asked: str | None) -> str | ShortpencilError:
    from shortpencil.forms.errors import ShortpencilError
    from shortpencil.forms.files import parsed_json, read_text
    from shortpencil.forms.shown import is_text

    try:
        note = parsed_json(read_text(path), str(path), "what is to be erased")
        if not isinstance(note, dict) or not all(is_text(note.get(k)) for k in ("what", "player", "store")):
            raise ShortpencilError(f"{path}: expected what is to be erased, found something else. Delete it.")
        _erase(note, asked)
    except ShortpencilError as error:
        return error
    path.unlink(missing_ok=True)
    return str(note["player"])


def _erase(note: dict[str, Any], asked: str | None) -> None:
    from shortpencil.forms.catalog import Catalog
    from shortpencil.scan.records.store import open_store

    what, player, place = note["what"], str(note["player"]), str(note["store"])
    if asked is not None and _noted_place(asked) == place:
        place = asked  # with its password
    if "://" in place or Path(place).exists():
        with open_store(place) as store:
            if what == FORGET:
                store.forget(player)
            else:
                store.erase_hand(player, on=False if what == OFF else None)
    if what == FORGET:
        Catalog(forms_folder()).forget(player)


def _noted_place(place: str | Path) -> str:
    if "://" not in str(place):
        return str(Path(place).absolute())
    from shortpencil.scan.records.storing.database import database_url

    return database_url(place).set(password=None).difference_update_query(["password"]).render_as_string()


def _is_whole(place: str | Path, what: str, player: str) -> bool:
    """Say whether nothing was erased: then the person has been told so, and nothing is to be finished."""
    from shortpencil.forms.errors import ShortpencilError
    from shortpencil.scan.records.store import open_store

    try:
        with open_store(place) as store:
            found = store.traces_of(player)
    except ShortpencilError:
        return False
    return bool(found) if what == FORGET else bool(found.hand_boxes)
