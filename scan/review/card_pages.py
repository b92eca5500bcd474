"""What the pages over single cards share: the store, how a card lies on its sheet, what it is called."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from datetime import datetime

from shortpencil.forms.layout import Layout
from shortpencil.scan.records.concluding.cards import Card
from shortpencil.scan.records.store import Store
from shortpencil.scan.review.asked import Page
from shortpencil.scan.review.naming import Name
from shortpencil.scan.review.shelf import name_of


@dataclass(frozen=True, slots=True)
class CardPages:
    """The pages over one store; a page is rendered by `page`."""

    store: Store
    layout_of: Callable[[Card], Layout]
    page: Page
    now: Callable[[], datetime]

    def called(self, card: Card) -> Name:
        """Return what a card is called in every list."""
        return name_of(self.store, card)
