"""What every page of the server needs, in one place: the store, the readers, who may come in."""

from __future__ import annotations

import time
from collections.abc import Awaitable, Callable, Collection
from dataclasses import dataclass, field
from datetime import UTC, datetime
from typing import Any

from starlette.exceptions import HTTPException

from shortpencil.forms.catalog import Catalog
from shortpencil.forms.field_map import layout_from_json
from shortpencil.forms.layout import Layout
from shortpencil.scan.records.store import Store
from shortpencil.scan.review.after_view import AfterOf, WorthOf, no_worth, nothing_after
from shortpencil.scan.review.chores import Chores
from shortpencil.scan.review.door import Door
from shortpencil.scan.review.focus_view import FocusOf
from shortpencil.scan.review.guard import Limits
from shortpencil.scan.review.patience import Lines
from shortpencil.scan.review.readers import Readers
from shortpencil.scan.review.shelf import copy_names


@dataclass(slots=True)
class Desk:
    """Everything a page needs: the store, the readers, who may come in, where the server is to be found."""

    store: Store
    readers: Readers
    catalog: Catalog
    door: Door
    focus: FocusOf
    cookie: str
    hosts: Callable[[], Collection[str]]
    #: Address for a phone, e.g. "http://192.168.1.5:8467", or None when only this machine is served.
    phone_address: Callable[[], str | None]
    clock: Callable[[], float] = time.monotonic
    now: Callable[[], datetime] = lambda: datetime.now(UTC)
    limits: Limits = field(default_factory=Limits)
    #: What the page lets do beside looking and answering; None where nobody said how.
    chores: Chores | None = None
    #: Lets phones in the network in, or keeps them out, while the page runs; None where that can't be.
    switch_phone: Callable[[bool], Awaitable[None]] | None = None
    #: Read each card as any hand's, and keep nothing of its player's.
    plain_hands: bool = False
    card_pictures: bool = True  # keep the picture of each whole flat card
    last_request_s: float = 0.0
    #: The connections, where a server counts them.
    lines: Lines = field(default_factory=Lines)
    #: What is told after a photo, and what an answer is worth: worked out elsewhere.
    after: AfterOf = nothing_after
    worth: WorthOf = no_worth
    layouts: dict[str, Layout] = field(default_factory=dict)

    def layout(self, form: str) -> Layout | None:
        """Return the layout of a form by its fingerprint; None where the store does not know it."""
        if form not in self.layouts:
            text = self.store.form_text(form)
            if text is None:
                return None
            self.layouts[form] = layout_from_json(text)
        return self.layouts[form]

    def copies(self, serial: str) -> dict[str, Any]:
        """Return the rounds of a sheet as its pages show them: with their photos, and what each is called."""
        found = self.store.sheet(serial)
        return {"sheet": found, "copies": copy_names(self.store, [one.serial for one in found])}

    def title_of(self, form: str) -> str:
        """Return the title of a form by its fingerprint, "" where it is not known."""
        layout = self.layout(form)
        return layout.form.title if layout is not None else ""


def chores_of(desk: Desk) -> Chores:
    """Return what the page can do; a page that was started without says so."""
    if desk.chores is None:
        raise HTTPException(404, "This page cannot do that. Start it with: shortpencil review")
    return desk.chores
