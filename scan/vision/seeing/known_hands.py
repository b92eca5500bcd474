"""The hands of all players as a batch begins with them; light, since the process that stores decodes nothing.

What a hand is, and learning one, is the matter of `own_hand`, which needs arrays and the digit network.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from typing import TYPE_CHECKING

from shortpencil.scan.reading import Lesson

if TYPE_CHECKING:
    from shortpencil.scan.vision.seeing.likeness import OwnHand


class Hands:
    """The hands of all players as they were known when reading began; each is learnt when first asked for.

    One snapshot serves a whole batch, so that what a card says depends on no other card read beside it.
    """

    def __init__(self, lessons: Mapping[str, Sequence[Lesson]]) -> None:
        self._lessons = lessons
        self._learnt: dict[str, OwnHand] = {}

    def of(self, player: str | None) -> OwnHand | None:
        """Return a player's hand, unknown as it may be; None where the player is not known."""
        if player is None:
            return None
        if player not in self._learnt:
            from shortpencil.scan.vision.seeing.own_hand import learn

            self._learnt[player] = learn(self._lessons.get(player, ()))
        return self._learnt[player]
