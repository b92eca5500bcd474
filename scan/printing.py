"""Cards and practice cards as PDF, each sheet with a serial of its own, known from then on.

One way for the command line, the page and programs.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import TYPE_CHECKING, Any

from shortpencil.scan.language import _

if TYPE_CHECKING:
    from pathlib import Path

    from shortpencil.forms.catalog import RosterLine
    from shortpencil.forms.drawing import Shape
    from shortpencil.forms.form import Course
    from shortpencil.forms.layout import Sheet
    from shortpencil.scan.practice.plan import Plan
    from shortpencil.scan.records.composing.rounds import Round

MOST_SIGNS = 500  # of a name in a record


@dataclass(frozen=True, slots=True)
class Printed:
    """Cards that were drawn: their PDF, their sheets by hand, and serial, fingerprint and player of each."""

    pdf: bytes
    sheets: dict[str, Sheet]
    cards: list[dict[str, str | None]]


def drawn(
    roster: Sequence[RosterLine],
    *,
    form: str | None,
    paper: str,
    unit: str,
    hand: str,
    course: Course | None,
    copies: int,
) -> Printed:
    """Draw cards with serials of their own; nothing is known of them until `register`.

    Raises
    ------
    InputError
        when a name is longer than a round may have it: the card could be read, and never be stored
    """
    import secrets

    from shortpencil.forms.catalog import load_form
    from shortpencil.forms.drawing import draw
    from shortpencil.forms.field_map import fingerprint
    from shortpencil.forms.layout import PAPERS, arrange
    from shortpencil.forms.pdf import identify, to_pdf
    from shortpencil.forms.serials import serial_from
    from shortpencil.forms.shown import composed

    for name in (*(line.player for line in roster), *((course.name, course.layout) if course else ())):
        _refuse_long(name)
    sheets: dict[str, Sheet] = {}
    pages: list[tuple[Shape, ...]] = []
    cards: list[dict[str, str | None]] = []
    for line in roster:
        of, player = line.hand or hand, composed(line.player)
        if of not in sheets:
            made = load_form(_form_name(form, course), unit=unit, hand=of, course=course)
            sheets[of] = arrange(made, PAPERS[paper])
        sheet = sheets[of]
        name = fingerprint(sheet.layout)
        for _nth in range(line.copies * copies):
            serial = serial_from(secrets.token_bytes(16))
            pages.append(draw(sheet, identify(serial, name, player)))
            cards.append({"serial": serial, "fingerprint": name, "player": player or None})
    return Printed(to_pdf(pages, PAPERS[paper], title="shortpencil card"), sheets, cards)


def _refuse_long(name: str) -> None:
    from shortpencil.forms.errors import InputError
    from shortpencil.forms.shown import found

    signs = len(name)
    if signs > MOST_SIGNS:
        raise InputError(
            f"expected names of at most {MOST_SIGNS} signs on a card, found one of {signs}: {found(name)}."
        )


def register(printed: Printed, evening: str = "") -> None:
    """Let photos of the cards be read, and say whose they are and for which evening."""
    from datetime import date

    from shortpencil.forms.catalog import Catalog
    from shortpencil.scan.places import forms_folder

    catalog = Catalog(forms_folder())
    for sheet in printed.sheets.values():
        catalog.register(sheet.layout)
    owners = {str(card["serial"]): str(card["player"]) for card in printed.cards if card["player"]}
    catalog.assign(owners, evening=evening, day=date.today().isoformat() if evening else "")


def paper_said(paper: str) -> str:
    """Return what a size of paper is called in a sentence."""
    return "A4" if paper == "a4" else _("Letter")


def printed_json(pdf: Path, printed: Printed) -> dict[str, Any]:
    """Return the published JSON of what was printed into a file (`print --json`)."""
    return {"schema": 1, "pdf": str(pdf), "cards": printed.cards}


def _form_name(asked: str | None, course: Course | None) -> str:
    from shortpencil.forms.catalog import round_card

    return asked if asked is not None else round_card(18 if course is None else len(course.holes))


def practice_pages(found: Sequence[tuple[Plan, Round, str | None]], paper: str) -> bytes:
    """Return a PDF with a practice card for each plan, whose forms are then known.

    Parameters
    ----------
    found : plan, newest round and alias of each player
    """
    import secrets

    from shortpencil.forms.catalog import Catalog
    from shortpencil.forms.field_map import fingerprint
    from shortpencil.forms.layout import PAPERS
    from shortpencil.forms.pdf import identify, to_pdf
    from shortpencil.forms.serials import serial_from
    from shortpencil.scan.places import forms_folder
    from shortpencil.scan.practice.card import practice_page, practice_sheet

    catalog = Catalog(forms_folder())
    pages = []
    for plan, last, player in found:
        hand = "left" if last.hand.known == "left" else "right"
        sheet = practice_sheet(plan, PAPERS[paper], unit=last.unit, hand=hand)
        alias = player or last.player or ""
        serial = serial_from(secrets.token_bytes(16))
        pages.append(practice_page(sheet, identify(serial, fingerprint(sheet.layout), alias), plan))
        catalog.register(sheet.layout)
        if alias:
            catalog.assign({serial: alias})
    return to_pdf(pages, PAPERS[paper], "shortpencil: practice card", gaps=True)
