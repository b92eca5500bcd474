"""The whole way of a photo: find, identify, register, flatten, ink, measure, decode. Each step is pure.

Give a `Trace` to keep what each step saw; `scan.vision.overlay` draws it.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace
from functools import partial

from shortpencil.forms.layout import Layout
from shortpencil.forms.serials import look_alikes
from shortpencil.scan.reading import CARD_PICTURE, CardReading
from shortpencil.scan.vision.deciding.decode import Decoded, decode
from shortpencil.scan.vision.doubting.partial import (
    FILTERED,
    is_filtered,
    only_marks,
    too_much_hidden,
    too_much_lost,
    with_missing_marks,
)
from shortpencil.scan.vision.doubting.possible import impossible
from shortpencil.scan.vision.doubting.quality import (
    Quality,
    cells_outside,
    is_good,
    is_only_cut,
    judge,
    too_many_questions,
    why_not,
)
from shortpencil.scan.vision.finding.codes import UNREADABLE_CODE, CardCode, NoCode, read_code
from shortpencil.scan.vision.finding.corners import (
    Corners,
    Mark,
    cards_of,
    find_marks,
    marks_at_a_glance,
    turned_back,
)
from shortpencil.scan.vision.flattening.pictures import card_picture, sharp_field_pictures
from shortpencil.scan.vision.flattening.rectify import lost_cells
from shortpencil.scan.vision.flattening.unfold import lay_flat
from shortpencil.scan.vision.measuring import measure
from shortpencil.scan.vision.opening.levels import Levels
from shortpencil.scan.vision.opening.photo import Photo
from shortpencil.scan.vision.seeing.ink import ink_of
from shortpencil.scan.vision.seeing.likeness import OwnHand
from shortpencil.scan.vision.seeing.patches import cells_of_kind
from shortpencil.scan.vision.trace import Trace

__all__ = [
    "BLANK_CARD",
    "FindLayout",
    "HandOf",
    "Trace",
    "known_edition",
    "read_card",
    "read_photo",
]

BLANK_CARD = "the card is blank: nothing is marked on it"
_LIKELY = 0.5
_NAME = "player"  # the field whose strip a printed name stands in
#: A photo that was decoded small is read so where a card has so many px per mm in it: a sheet of A4 does that
#: fills three quarters of `GLANCE_LONG_PX`. On 297 tuning photos down to 4.0 it told as many errors and
#: questions as the whole picture (`bench_decoded_small`); pictures of fields are softer.
SMALL_PX_PER_MM = 4.5

FindLayout = Callable[[str], Layout | None]
#: Serial -> the hand of the player that the card was printed for; None where nobody is known or wants it.
HandOf = Callable[[str], OwnHand | None]


def read_photo(
    photo: Photo,
    find_layout: FindLayout,
    traces: list[Trace] | None = None,
    hand_of: HandOf | None = None,
    typed: CardCode | None = None,
) -> tuple[CardReading, ...]:
    """Return the readings of every card in a photo; one rejected reading when it shows none.

    Parameters
    ----------
    photo : the picture
    find_layout : fingerprint -> layout of the printed edition, or None when unknown
    traces : filled with what each step saw, if given
    hand_of : serial -> what is known of its player's hand
    typed : which card it is, for a photo of one card whose code cannot be read
    """
    photo, marks = _with_marks(photo)
    found = cards_of(marks)
    if not found and (right := turned_back(photo.gray)) is not None:
        photo, marks = replace(photo, gray=right, finer=None), find_marks(right)
        found = cards_of(marks)
    if not found:
        if traces is not None:
            traces.append(Trace(photo.gray))
        return (_rejected(photo, _why_no_card(photo, marks)),)
    readings = []
    typed = typed if len(found) == 1 else None
    for corners in found:
        trace = Trace(photo.gray, corners=corners)
        trace.reading = read_card(photo, corners, find_layout, trace, hand_of, typed)
        readings.append(trace.reading)
        if traces is not None:
            traces.append(trace)
    return tuple(readings)


def _why_no_card(photo: Photo, marks: list[Mark]) -> str:
    """Why marks make no card, and what to do."""
    if is_filtered(photo.gray):
        return FILTERED
    return only_marks(marks) or (
        "no card found: expected four black corner marks, found none that belong together. "
        "Take the photo again with the whole sheet in view, in even light"
    )


def _with_marks(photo: Photo) -> tuple[Photo, list[Mark]]:
    """Return the photo as coarse as its cards may be read, and every corner mark in it."""
    if photo.finer is not None:
        marks = marks_at_a_glance(photo.gray, SMALL_PX_PER_MM)
        if marks is not None:
            return photo, marks
        photo = photo.finer()
    return photo, find_marks(photo.gray)


def known_edition(code: CardCode, find_layout: FindLayout) -> tuple[CardCode, Layout | None]:
    """Return the code and its edition's layout; a plain line's 5 may be an S if only that one is known."""
    layout = find_layout(code.fingerprint)
    if layout is not None or code.how == "qr":
        return code, layout
    known = [(name, found) for name in look_alikes(code.fingerprint) if (found := find_layout(name))]
    if len(known) != 1:
        return code, None
    return replace(code, fingerprint=known[0][0]), known[0][1]


def read_card(
    photo: Photo,
    corners: Corners,
    find_layout: FindLayout,
    trace: Trace,
    hand_of: HandOf | None = None,
    typed: CardCode | None = None,
) -> CardReading:
    """Return the reading of one card whose corner marks were found.

    Four stations: which card, where it lies, what its ink says, what that means. At each the first thing that
    speaks against the photo ends the way.
    """
    known = _identified(photo, corners, find_layout, typed)
    if isinstance(known, CardReading):
        return known
    code, layout = known
    trace.layout = layout

    levels = Levels(photo.gray)
    registration, flat, covered = lay_flat(levels, corners, layout)
    trace.registration = registration
    ink = ink_of(flat, covered, layout)
    trace.flat, trace.ink = flat, ink
    quality = judge(levels, covered, ink.contrast, corners, registration, layout)
    refused = partial(_rejected, photo, code=code, layout=layout, quality=quality.as_dict())
    poor = why_not(quality)
    poor = poor and with_missing_marks(poor, corners, photo.gray)
    if poor is not None and not is_only_cut(quality):
        return refused(poor)
    lost = lost_cells(levels, registration, layout)
    if poor is None and (carried_away := too_much_lost(len(lost), layout)) is not None:
        return refused(carried_away)

    hand = None if hand_of is None else hand_of(code.serial)
    evidence = measure(ink, covered, layout, trace, hand, lost, quality.blur_mm, quality.grain)
    if poor is not None:  # what this photo does show may complete another of the same card
        return replace(refused(poor), pictures={CARD_PICTURE: card_picture(flat)})
    hidden = len(evidence.outside) - len(cells_outside(covered, layout))
    reason = _first(trace.lost, impossible(evidence, layout.form), too_much_hidden(hidden, layout))
    if reason is not None:
        return refused(reason)

    decoded = decode(layout.form, evidence)
    reason = _too_many_asked(decoded, trace, quality)
    if reason is None and _is_blank(decoded):
        trace.blank, reason = True, BLANK_CARD
    if reason is not None:
        return refused(reason)
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


def _identified(
    photo: Photo, corners: Corners, find_layout: FindLayout, typed: CardCode | None
) -> tuple[CardCode, Layout] | CardReading:
    """Which card this is and how its edition is laid out; a rejected reading where that cannot be told."""
    code = read_code(photo.gray, corners)
    if isinstance(code, NoCode) and typed is not None:
        code = typed
    if isinstance(code, NoCode):
        says = FILTERED if is_filtered(photo.gray) else code.says
        return _rejected(photo, with_missing_marks(says, corners, photo.gray))
    code, layout = known_edition(code, find_layout)
    if layout is not None and typed is not None and code.serial != typed.serial:
        return _rejected(
            photo,
            f"this is card {code.serial} by its code, and not {typed.serial}, as was typed. Read it without "
            "the number",
            code,
        )
    if layout is not None:
        return code, layout
    if code.how == "typed":
        return _rejected(
            photo,
            f"the form that the last six signs of the number name ({code.fingerprint}) is not known here. "
            "Look at them once more, or read it with --map and the field map that was written when it was "
            "printed",
        )
    if code.how == "plain":
        # Only the serial has a check sign: a fingerprint that nobody knows was more likely misread.
        return _rejected(photo, with_missing_marks(UNREADABLE_CODE, corners, photo.gray))
    return _rejected(
        photo,
        f"the card was printed from a form that this computer does not know ({code.fingerprint}). "
        "Read it with --map and the field map that was written when it was printed",
        code,
    )


def _first(*reasons: str | None) -> str | None:
    """The first of what may speak against a photo, or None where nothing does."""
    return next((reason for reason in reasons if reason is not None), None)


def _too_many_asked(decoded: Decoded, trace: Trace, quality: Quality) -> str | None:
    """Why to take the photo again when so much would be asked that the photo is to blame, or None."""
    answers = decoded.fields.values()
    marked = sum(a.value not in (None, ()) or a.flag is not None for a in answers)
    asked = sum(a.flag is not None for a in answers)
    return too_many_questions(asked, marked, fades=len(trace.faded) > asked, good=is_good(quality))


def _is_blank(decoded: Decoded) -> bool:
    """Say whether no bubble is filled, no digit written and nothing more likely marked than not.

    Without a single mark there is no pen to compare with, and grain of the paper is doubted here and there.
    A name tells of no round: the program itself prints one on the cards of a list.
    """
    return all(
        answer.value in (None, ()) and (answer.flag is None or answer.p > _LIKELY)
        for field, answer in decoded.fields.items()
        if field != _NAME
    ) and not any(
        cell.value is True for id_, cell in decoded.cells.items() if id_.rpartition(".")[0] != _NAME
    )


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
