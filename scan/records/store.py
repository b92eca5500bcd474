"""The store: whole transactions on cards and rounds, and nothing between before and after.

What it does stands in the files that it is made of; here it is opened, and taken away where it is empty.
"""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache
from pathlib import Path

from shortpencil.forms.form import Form
from shortpencil.scan.records.keeping.adding import Adding
from shortpencil.scan.records.keeping.answering import Answering
from shortpencil.scan.records.keeping.erasing import Erasing
from shortpencil.scan.records.keeping.players import Players
from shortpencil.scan.records.keeping.reads import Reads
from shortpencil.scan.records.storing import tables
from shortpencil.scan.records.storing.database import (
    database_url,
    make_engine,
    make_folder_of,
    reading,
    remove_file_if_empty,
    store_name,
    writing,
)
from shortpencil.scan.records.storing.migrations import bring_up_to_date, is_up_to_date
from shortpencil.scan.records.storing.summary import STORE_SCHEMA
from shortpencil.scan.records.storing.turns import Patience


class Store(Reads, Adding, Answering, Players, Erasing):
    """An open store; close it, or use it as a context manager."""


@lru_cache(maxsize=16)  # the same few in every store, over 20 ms each
def form_from_field_map(text: str) -> Form:
    """Return the form of a field map's text."""
    from shortpencil.forms.field_map import layout_from_json

    return layout_from_json(text).form


def open_store(
    place: str | Path,
    *,
    read_form: Callable[[str], Form] = form_from_field_map,
    patience: Patience | None = None,
) -> Store:
    """Return the store in a file or at a database URL; makes it, and the file's folder, when there is none.

    Parameters
    ----------
    place : a file, ``sqlite:///FILE`` or ``postgresql://user@host/database``
    read_form : how to get a form from the text kept with the first card of that form
    patience : how to wait for another program that writes to it for long; None gives it up after ten seconds

    Raises
    ------
    RecordError
        when the file is no store, is damaged, locked, of a newer version, or cannot be made
    InputError
        when the URL is of another kind
    """
    url = database_url(place)
    make_folder_of(url)
    engine = make_engine(url, patience)
    try:
        store = Store(engine, read_form)
        with reading(engine) as connection:
            if is_up_to_date(connection):  # nobody who writes is waited for
                return store
        with writing(engine) as connection:
            version = bring_up_to_date(connection, store_name(url))
        if version:  # tables changed meanwhile, by this program or by another that was waited for
            engine.dispose()  # connections know those that were there when they were made
            if version != STORE_SCHEMA:
                store.renew()
            with reading(engine):  # whoever would take an empty file away sees that it is open
                pass
    except BaseException:
        engine.dispose()
        raise
    return store


def remove_if_empty(place: str | Path) -> bool:
    """Take away a store in a file that holds nothing and that no other program has open; say whether it went.

    For one that was made just now, for something that then was not to be stored.
    """
    url = database_url(place)
    if url.get_backend_name() != "sqlite" or not url.database:
        return False
    held = [table.name for table in tables.metadata.sorted_tables if table is not tables.store_version]
    return remove_file_if_empty(Path(url.database), held)
