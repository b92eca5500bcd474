"""The bubbles of a simulated card as the bubble network sees them, ready to train on.

What a bubble is compared with comes from all bubbles of its card; most of these are empty and alike, so only
a part of them is kept afterwards, each standing for several.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from shortpencil.forms.layout import Layout
from shortpencil.scan.vision.seeing.bubble_net import CLASSES
from shortpencil.scan.vision.seeing.bubbles import views_of_some

#: Of the empty bubbles of cards with more bubbles than the first, the second share is kept.
_MANY, _KEPT = 40, 0.3


@dataclass(frozen=True, slots=True)
class CardBubbles:
    """Some bubbles of one card.

    Attributes
    ----------
    views : (N, 2 * 529); measures : (N, 24); figures : (7,) of the whole card
    labels : (N,) place in `CLASSES`
    stands_for : (N,) so many bubbles of its kind
    """

    views: NDArray[np.float16]
    measures: NDArray[np.float16]
    figures: NDArray[np.float32]
    labels: NDArray[np.int8]
    stands_for: NDArray[np.float32]


def bubbles_to_learn(
    ink: NDArray[np.float32],
    labels: NDArray[np.integer],
    layout: Layout,
    pen: float,
    rng: np.random.Generator,
    fit: NDArray[np.bool_] | None = None,
) -> Iterator[CardBubbles]:
    """Yield a card, and at times a part of it as if the form had no more bubbles.

    Parameters
    ----------
    ink : (N, 45, 45) patches of all bubbles of the layout, in its order
    fit : (N,) which of them are a lesson; all, if not given
    """
    parts = [np.arange(len(labels))]
    if rng.random() < 0.35:  # nearly all filled, or few bubbles
        keep = np.where(labels == CLASSES.index("empty"), rng.choice([0.0, 0.03, 0.15]), 1.0)
        some = np.flatnonzero(rng.random(len(labels)) < keep * rng.choice([1.0, 1.0, 0.3, 0.1]))
        parts += [some] if len(some) >= 2 else []
    for some in parts:
        views = views_of_some(ink[some], layout, pen, some)
        sparse = (labels[some] == CLASSES.index("empty")) & (len(some) > _MANY)
        kept = ~sparse | (rng.random(len(some)) < _KEPT)
        if fit is not None:
            kept &= fit[some]
        yield CardBubbles(
            views.bubbles[kept].astype(np.float16),
            views.measures[kept].astype(np.float16),
            views.card.astype(np.float32),
            labels[some][kept].astype(np.int8),
            np.where(sparse, 1 / _KEPT, 1.0)[kept].astype(np.float32),
        )


def save(cards: Sequence[CardBubbles], path: Path) -> None:
    """Write cards, one after the other; never half a file."""
    part = path.with_suffix(".part.npz")
    np.savez(
        part,
        views=np.concatenate([c.views for c in cards]),
        measures=np.concatenate([c.measures for c in cards]),
        figures=np.stack([c.figures for c in cards]),
        labels=np.concatenate([c.labels for c in cards]),
        stands_for=np.concatenate([c.stands_for for c in cards]),
        counts=np.array([len(c.labels) for c in cards]),
    )
    part.replace(path)
