"""What each step of reading saw of a card: for pictures that explain it, and for photos read together."""

from __future__ import annotations

from dataclasses import dataclass, field

from forms.layout import Layout
from scan.reading import CardReading
from scan.vision.arrays import FloatImage, GrayImage
from scan.vision.doubting.visibility import Marks
from scan.vision.evidence import Evidence
from scan.vision.finding.corners import Corners
from scan.vision.flattening.rectify import Registration
from scan.vision.seeing.bubbles import BubbleInk
from scan.vision.seeing.ink import CardInk


@dataclass(slots=True)
class Trace:
    """What each step saw of one card, kept on request."""

    gray: GrayImage
    corners: Corners | None = None
    layout: Layout | None = None
    registration: Registration | None = None
    flat: GrayImage | None = None
    ink: CardInk | None = None
    bubbles: BubbleInk | None = None
    patches: FloatImage | None = None
    faded: frozenset[str] = frozenset()
    marks: Marks | None = None
    lost: str | None = None
    evidence: Evidence | None = None
    views: dict[str, bytes] = field(default_factory=dict)
    blank: bool = False  # decoded, and nothing is marked on it
    reading: CardReading | None = None
