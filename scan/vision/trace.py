"""What each step of reading saw of a card: for pictures that explain it, and for photos read together."""

from __future__ import annotations

from dataclasses import dataclass, field

from shortpencil.forms.layout import Layout
from shortpencil.scan.reading import CardReading
from shortpencil.scan.vision.arrays import FloatImage, GrayImage
from shortpencil.scan.vision.doubting.visibility import Marks
from shortpencil.scan.vision.evidence import Evidence
from shortpencil.scan.vision.finding.corners import Corners
from shortpencil.scan.vision.flattening.rectify import Registration
from shortpencil.scan.vision.seeing.bubbles import BubbleInk
from shortpencil.scan.vision.seeing.ink import CardInk


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
