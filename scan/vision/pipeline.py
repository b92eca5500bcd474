"""The whole way of a photo: find, identify, register, flatten, ink, measure, decode. Each step is pure.

Give a `Trace` to keep what each step saw; `scan.vision.overlay` draws it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, field, replace

import numpy as np

from forms.layout import Layout
from forms.serials import look_alikes
from scan.reading import CARD_PICTURE, CardReading
from scan.vision.arrays import FloatImage, GrayImage
from scan.vision.deciding.decode import Decoded, decode
from scan.vision.doubting.fading import blank_doubted, burnt_out_cells, faded_cells, usual_strength
from scan.vision.doubting.partial import (
    chance_of_loss,
    hidden_cells,
    is_one_bit,
    only_marks,
    outlines_shown,
    that_may_have_vanished,
    too_much_hidden,
    too_much_lost,
    with_missing_marks,
)
from scan.vision.doubting.possible import impossible
from scan.vision.doubting.quality import (
    cells_outside,
    is_good,
    is_only_cut,
    judge,
    too_many_questions,
    why_not,
)
from scan.vision.doubting.shade import crossed_by_edges, marks_doubted, ones_doubted
from scan.vision.doubting.visibility import (
    OUTLINES_SAY,
    Marks,
    chance_of_no_trace,
    chances_by_place,
    covered_cells,
    doubted,
    faded_by_degrees,
    marks_lost,
    marks_of,
    where_all_show,
)
from scan.vision.evidence import Evidence
from scan.vision.finding.codes import UNREADABLE_CODE, CardCode, NoCode, read_code
from scan.vision.finding.corners import Corners, Mark, cards_of, find_marks, marks_at_a_glance
from scan.vision.flattening.pictures import card_picture, sharp_field_pictures
from scan.vision.flattening.rectify import CARD_PX_PER_MM, Registration, flatten, lost_cells, register
from scan.vision.opening.levels import SLACK, Levels
from scan.vision.opening.photo import Photo
from scan.vision.seeing.bubbles import (
    BubbleInk,
    bubble_log_likelihoods,
    bubble_patches,
    measure_bubbles,
    pen_darkness,
)
from scan.vision.seeing.digits import BLURRED_MM, cooled, digit_log_p_and_looks
from scan.vision.seeing.ink import CardInk, ink_of
from scan.vision.seeing.likeness import OwnHand
from scan.vision.seeing.own_hand import box_views, weighed
from scan.vision.seeing.patches import (
    bare_log_p,
    cells_of_kind,
    digit_patches,
    not_blank,
    writing_in,
    written_share,
)

BLANK_CARD = "the card is blank: nothing is marked on it"
_LIKELY = 0.5

FindLayout = Callable[[str], Layout | None]
#: Serial -> the hand of the player that the card was printed for; None where nobody is known or wants it.
HandOf = Callable[[str], OwnHand | None]


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
    reading: CardReading | None = None


@dataclass(slots=True)
class Traces:
    """The traces of all cards of a photo."""

    cards: list[Trace] = field(default_factory=list)


def read_photo(
    photo: Photo, find_layout: FindLayout, traces: Traces | None = None, hand_of: HandOf | None = None
) -> tuple[CardReading, ...]:
    """Return the readings of every card in a photo; one rejected reading when it shows none.

    Parameters
    ----------
    photo : the picture
    find_layout : fingerprint -> layout of the printed edition, or None when unknown
    traces : filled with what each step saw, if given
    hand_of : serial -> what is known of its player's hand
    """
    photo, marks = _with_marks(photo)
    found = cards_of(marks)
    if not found:
        if traces is not None:
            traces.cards.append(Trace(photo.gray))
        return (
            _rejected(
                photo,
                only_marks(marks)
                or "no card found: expected four black corner marks, found none that belong together. "
                "Take the photo again with the whole sheet in view, in even light",
            ),
        )
    readings = []
    for corners in found:
        trace = Trace(photo.gray, corners=corners)
        trace.reading = read_card(photo, corners, find_layout, trace, hand_of)
        readings.append(trace.reading)
        if traces is not None:
            traces.cards.append(trace)
    return tuple(readings)


def _with_marks(photo: Photo) -> tuple[Photo, list[Mark]]:
    """Return the photo as coarse as its cards may be read, and every corner mark in it."""
    if photo.finer is not None:
        marks = marks_at_a_glance(photo.gray, SLACK * CARD_PX_PER_MM)
        if marks is not None:
            return photo, marks
        photo = photo.finer()
    return photo, find_marks(photo.gray)


def known_edition(code: CardCode, find_layout: FindLayout) -> tuple[CardCode, Layout | None]:
    """Return the code and its edition's layout; a plain line's 5 may be an S if only that one is known."""
    layout = find_layout(code.fingerprint)
    if layout is not None or code.how != "plain":
        return code, layout
    known = [(name, found) for name in look_alikes(code.fingerprint) if (found := find_layout(name))]
    if len(known) != 1:
        return code, None
    return replace(code, fingerprint=known[0][0]), known[0][1]


def read_card(
    photo: Photo, corners: Corners, find_layout: FindLayout, trace: Trace, hand_of: HandOf | None = None
) -> CardReading:
    """Return the reading of one card whose corner marks were found."""
    code = read_code(photo.gray, corners)
    if isinstance(code, NoCode):
        return _rejected(photo, with_missing_marks(code.says, corners, photo.gray))
    code, layout = known_edition(code, find_layout)
    if layout is None and code.how == "plain":
        # Only the serial has a check sign: a fingerprint that nobody knows was more likely misread.
        return _rejected(photo, with_missing_marks(UNREADABLE_CODE, corners, photo.gray))
    if layout is None:
        return _rejected(
            photo,
            f"the card was printed from a form that this computer does not know ({code.fingerprint}). "
            "Read it with --map and the field map that was written when it was printed",
            code,
        )
    trace.layout = layout
    levels = Levels(photo.gray)
    trace.registration = registration = register(levels, corners, layout)
    flat, covered = flatten(levels, registration, layout)
    ink = ink_of(flat, covered, layout)
    trace.flat, trace.ink = flat, ink
    quality = judge(levels, covered, ink.contrast, corners, registration, layout)
    reason = why_not(quality)
    if reason is not None:
        reason = with_missing_marks(reason, corners, photo.gray)
    if reason is not None and not is_only_cut(quality):
        return _rejected(photo, reason, code, layout, quality.as_dict())
    lost = lost_cells(levels, registration, layout)
    if reason is None and (carried_away := too_much_lost(len(lost), layout)) is not None:
        return _rejected(photo, carried_away, code, layout, quality.as_dict())
    hand = None if hand_of is None else hand_of(code.serial)
    evidence = measure(ink, covered, layout, trace, hand, lost, quality.blur_mm)
    if reason is not None:  # what this photo does show may complete another of the same card
        cut = _rejected(photo, reason, code, layout, quality.as_dict())
        return replace(cut, pictures={CARD_PICTURE: card_picture(flat)})
    reason = trace.lost or impossible(evidence, layout.form)
    if reason is not None:
        return _rejected(photo, reason, code, layout, quality.as_dict())
    reason = too_much_hidden(len(evidence.outside) - len(cells_outside(covered, layout)), layout)
    if reason is not None:
        return _rejected(photo, reason, code, layout, quality.as_dict())
    decoded = decode(layout.form, evidence)
    answers = decoded.fields.values()
    marked = sum(a.value not in (None, ()) or a.flag is not None for a in answers)
    asked = sum(a.flag is not None for a in answers)
    reason = too_many_questions(asked, marked, fades=len(trace.faded) > asked, good=is_good(quality))
    if reason is not None:
        return _rejected(photo, reason, code, layout, quality.as_dict())
    if _is_blank(decoded):
        return _rejected(photo, BLANK_CARD, code, layout, quality.as_dict())
    return CardReading(
        source=photo.source,
        status="read",
        serial=code.serial,
        form=code.fingerprint,
        form_name=layout.form.name,
        quality=quality.as_dict(),
        cells=decoded.cells,
        fields=decoded.fields,
        findings=decoded.findings,
        pictures={
            **sharp_field_pictures(levels, registration, layout, _to_show(decoded, layout)),
            CARD_PICTURE: card_picture(flat),
        },
        views=trace.views,
        photo_sha256=photo.sha256,
    )


def measure(
    ink: CardInk,
    covered: GrayImage,
    layout: Layout,
    trace: Trace,
    hand: OwnHand | None = None,
    lost: frozenset[str] = frozenset(),
    blur_mm: float = 0.0,
) -> Evidence:
    """Return what the ink says of each cell by itself, before any rule; of `lost` cells nothing is known."""
    boxes = cells_of_kind(layout, "digit")
    trace.patches = patches = digit_patches(ink, layout)
    around = bubble_patches(ink, layout)
    trace.bubbles = bubbles = measure_bubbles(around, layout, pen_darkness(patches, around))
    writing = writing_in(patches)
    raised = np.minimum(patches * np.float32(writing.gain), 1.2) if writing.gain > 1 else patches
    written = writing.written()
    # A thin stroke that a moved camera has smeared is as pale as paper: then every box is looked into.
    look = np.flatnonzero(~writing.bare() | (blur_mm > BLURRED_MM))
    log_p = np.tile(bare_log_p(), (len(boxes), 1))
    sizes = np.array([(boxes[i].box.w, boxes[i].box.h) for i in look]).reshape(-1, 2)
    seen, looks = digit_log_p_and_looks(raised[look], sizes)
    log_p[look] = not_blank(cooled(seen, blur_mm), written[look])
    crossed = frozenset[str]() if ink.paper is None else crossed_by_edges(ink.paper, layout)
    if crossed:
        log_p = ones_doubted(log_p, np.array([box.id in crossed for box in boxes]))
    digits: dict[str, FloatImage] = {box.id: log_p[i] for i, box in enumerate(boxes)}
    if hand is not None:
        trace.views = box_views(raised, boxes, written)
        digits = weighed(hand, digits, trace.views)
    outside = cells_outside(covered, layout)
    faxed = is_one_bit(trace.gray)  # its fine print is lost whether or not something lies on it
    marks = trace.marks = marks_of(around, writing, layout)
    shown = outlines_shown(around, patches, layout)
    outlines_say = not faxed and len(shown) > 0 and float(np.median(shown)) >= OUTLINES_SAY
    hidden = pale = frozenset[str]()
    if outlines_say:
        hidden = hidden_cells(shown, layout, outside)
        pale = faded_by_degrees(hidden, shown, ink.paper, layout)
        hidden -= pale
    elif not faxed:
        hidden = covered_cells(ink, layout)
    evidence = Evidence(
        bubbles=marks_doubted(bubble_log_likelihoods(bubbles), around, crossed),
        digits=digits,
        words={c.id: written_share(ink, c) for c in cells_of_kind(layout, "words")},
        outside=outside | hidden | lost,
        looks={boxes[i].id: looks[k] for k, i in enumerate(look) if written[i]},
    )
    if faxed:
        chance = chance_of_loss(patches, layout, writing.strength[written])
        trace.evidence = that_may_have_vanished(evidence, chance)
    else:
        trace.faded = faded_cells(bubbles, writing, ink.paper, layout)
        if ink.paper is not None and outlines_say:
            pale |= burnt_out_cells(around, patches, writing, ink.paper, layout)
        trace.faded -= where_all_show(marks, trace.faded, layout)
        trace.lost = marks_lost(marks, float(np.median(shown)) if len(shown) else 1.0, evidence.outside)
        chances = chances_by_place(marks, pale, layout, usual_strength(writing) or 0.0)
        evidence = doubted(evidence, chances, chance_of_no_trace(marks))
        trace.evidence = blank_doubted(evidence, trace.faded)
    return trace.evidence


def _is_blank(decoded: Decoded) -> bool:
    """Say whether no bubble is filled, no digit written and nothing more likely marked than not.

    Without a single mark there is no pen to compare with, and grain of the paper is doubted here and there.
    """
    return all(
        answer.value in (None, ()) and (answer.flag is None or answer.p > _LIKELY)
        for answer in decoded.fields.values()
    ) and not any(cell.value is True for cell in decoded.cells.values())


def _to_show(decoded: Decoded, layout: Layout) -> list[str]:
    """Ids of the fields whose picture is worth keeping: those with words, and those a person must look at."""
    written = {c.field for c in cells_of_kind(layout, "words") if decoded.cells[c.id].value}
    return [name for name, answer in decoded.fields.items() if answer.flag is not None or name in written]


def _rejected(
    photo: Photo,
    reason: str,
    code: CardCode | None = None,
    layout: Layout | None = None,
    quality: dict[str, float | str | bool] | None = None,
) -> CardReading:
    return CardReading(
        source=photo.source,
        status="rejected",
        reason=f"{reason}.",
        serial=code.serial if code else None,
        form=code.fingerprint if code else None,
        form_name=layout.form.name if layout else None,
        quality=quality or {},
        photo_sha256=photo.sha256,
    )
