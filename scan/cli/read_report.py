"""What `read` says: a few lines a card as it is stored, and at the end what there is to do."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from shortpencil.scan.language import _, first_upper, ngettext, told

if TYPE_CHECKING:
    from shortpencil.forms.form import Form
    from shortpencil.scan.reading import CardReading
    from shortpencil.scan.records.composing.rounds import Round
    from shortpencil.scan.records.concluding.outcomes import Kept

SHOWN_NAMES = 8
#: How a page of a file is named, after the file's own name, which is nobody's sentence.
PAGE = re.compile(r", page \d+$")


@dataclass(slots=True)
class Tally:
    """What became of the photos of one call so far."""

    photos: int = 0
    before: int = 0
    outcomes: dict[str, str] = field(
        default_factory=dict
    )  # serial of a round -> what the first photo was to it
    waits: dict[str, int] = field(default_factory=dict)  # serial -> questions
    called: dict[str, str] = field(default_factory=dict)  # serial of a round -> day, course, player
    unplaced: set[str] = field(default_factory=set)  # serials of rounds without a name or a course
    not_read: dict[str, str] = field(default_factory=dict)  # SHA-256 -> name of the photo
    not_kept: list[str] = field(default_factory=list)
    not_opened: list[str] = field(default_factory=list)

    def add(self, kept: Kept, waits: Sequence[str], called: str) -> None:
        """Count one card.

        Parameters
        ----------
        waits : the fields that wait for a person
        called : what a sheet that is no round is called
        """
        reading = kept.reading
        if kept.serial is None and reading.status != "read":
            self.not_read[f"{reading.photo_sha256}{reading.source}"] = _name(reading)
            return
        serial = kept.serial or f"{reading.serial}"
        self.outcomes.setdefault(serial, kept.outcome)
        self.waits[serial] = len(waits)
        self.called[serial] = called if kept.round is None else _called(kept.round)
        if kept.round is not None and not (kept.round.player and kept.round.course):
            self.unplaced.add(serial)
        for sha in reading.together:  # it completes photos that could not be read alone
            for key in [key for key in self.not_read if key.startswith(sha)]:
                del self.not_read[key]

    @property
    def questions(self) -> int:
        """How many fields wait for a person."""
        return sum(self.waits.values())

    @property
    def attention(self) -> bool:
        """Whether a person must do something."""
        return bool(self.questions or self.not_read or self.not_kept)

    def _who_waits(self) -> list[str]:
        """Return a line for each card that asks, the first few."""
        asking = [(serial, count) for serial, count in self.waits.items() if count]
        lines = []
        for serial, count in asking[:SHOWN_NAMES]:
            called = {"name": self.called[serial], "questions": _count(count, "question"), "serial": serial}
            lines.append("    " + _("{name}: {questions}, card {serial}", **called))
        more = len(asking) - SHOWN_NAMES
        return [*lines, *(["    " + _("and {cards}", cards=_count(more, "more card"))] if more > 0 else [])]

    def lines(self, *, stored: bool = True) -> list[str]:
        """Return the summary: cards, what was not read, questions, what to do next with what was `stored`."""
        kinds = Counter(self.outcomes.values())
        cards = f" ({', '.join(f'{n} {told(kind)}' for kind, n in kinds.items())})" if self.outcomes else ""
        parts = [
            f"{_count(len(self.outcomes), 'card')}{cards}",
            *([_("{n} not read", n=len(self.not_read))] if self.not_read else []),
            *([_("{n} not stored", n=len(self.not_kept))] if self.not_kept else []),
            *([_("{n} not opened", n=len(self.not_opened))] if self.not_opened else []),
            *([_("{n} read before", n=self.before)] if self.before else []),
        ]
        lines = [f"{_count(self.photos, 'photo')}: {', '.join(parts)}."]
        if self.questions:
            asked = sum(1 for count in self.waits.values() if count)
            says = ngettext(
                "{questions} on {cards}: shortpencil review asks it.",
                "{questions} on {cards}: shortpencil review asks them.",
                self.questions,
                questions=_count(self.questions, "question"),
                cards=_count(asked, "card"),
            )
            if not stored:  # the page knows nothing of them
                counts = {"questions": _count(self.questions, "question"), "cards": _count(asked, "card")}
                says = _("{questions} on {cards}.", **counts)
            lines.append(says)
            lines += self._who_waits()
        if self.not_read:
            lines.append(_("Take again, as said above: {names}.", names=_names(self.not_read.values())))
        if self.not_kept:
            lines.append(_("Read again once mended, as said above: {names}.", names=_names(self.not_kept)))
        if self.not_opened:
            lines.append(_("Put right as said above, or leave out: {names}.", names=_names(self.not_opened)))
        if stored and self.outcomes and not self.questions:
            lines.append(_("Nothing to ask. Next: shortpencil rounds, or shortpencil focus."))
        if stored and self.unplaced:
            lines.append(_("Whose it was and where: told once, on the page of a card, shortpencil review."))
        return lines


def waiting(kept: Kept) -> tuple[str, ...]:
    """Return the fields of a card that wait for a person."""
    return kept.reading.flagged if kept.round is None else kept.round.waiting


def card_lines(kept: Kept, form: Form | None, waits: Sequence[str], *, stored: bool = True) -> list[str]:
    """Return what to say of one card: what it is, what it asks, how it differs from what was `stored`."""
    from shortpencil.scan.records.concluding.outcomes import NOT_STORED
    from shortpencil.scan.review.differences import differences
    from shortpencil.scan.review.wording import full_name, why_said

    reading = kept.reading
    name = _name(reading)
    if kept.serial is None and reading.status != "read":
        return [_("{name}: not read. {why}", name=name, why=first_upper(told(reading.reason or "")))]
    doubt = (
        _("nothing to ask")
        if not waits
        else ngettext("{n} field waits for review", "{n} fields wait for review", len(waits))
    )
    card = _("card {serial}", serial=kept.serial or reading.serial)
    if reading.together:
        card += _(", read from {n} photos", n=1 + len(reading.together))
    what = _summary(kept.round) if kept.round or form is None else _other(reading, form)
    lines = [f"{name}: {card}, {what}, {doubt} ({told(kept.outcome if stored else NOT_STORED)})"]
    for field_id in waits:
        answer = reading.fields.get(field_id)
        asked, why = full_name(form, field_id), why_said(field_id, answer.flag if answer else None)
        lines.append(f"    {_('ask'):<4} {asked}: {why.removeprefix(f'{asked}: ')}")
    note = f"{_('note'):<4}"
    lines += [f"    {note} {told(finding.says)}" for finding in reading.findings]
    if kept.round is not None and kept.round.lies_ahead:
        lines.append("    " + note + " " + told(f"the date {kept.round.day} lies after the day it was read"))
    return lines + [f"    {note} {text}" for text in differences(kept, form)]


def _other(reading: CardReading, form: Form) -> str:
    """Say what a sheet that is no round is, and how much it says."""
    answered = sum(1 for answer in reading.fields.values() if answer.value not in (None, ()))
    return _("{title} (kept as rows), {answers}", title=form.title, answers=_count(answered, "answer"))


def _summary(round_: Round | None) -> str:
    if round_ is None:
        return _("no round")
    scores = [hole.score.known for hole in round_.holes if isinstance(hole.score.known, int)]
    scored = sum(score for score in scores if isinstance(score, int))
    holes = _count(len(scores), "hole")
    return _("{name}, {holes}, score {score}", name=_called(round_), holes=holes, score=scored)


def _called(round_: Round) -> str:
    """Return what a round is called: its day, with a question mark where doubtful, where and whose it was."""
    from shortpencil.scan.records.composing.rounds import is_day

    day = round_.played_on
    perhaps = f"{day.value}?" if is_day(day.value) else _("no date")
    place = ", ".join(part for part in (round_.course, round_.layout) if part)
    course = place if round_.course else _("no course")
    return f"{day.known or perhaps}, {course}, {round_.player or _('no name')}"


def _name(reading: CardReading) -> str:
    name = Path(reading.source).name
    return told(name) if PAGE.search(name) else name


def _names(names: Iterable[str]) -> str:
    every = list(dict.fromkeys(names))
    more = len(every) - SHOWN_NAMES
    return ", ".join(every[:SHOWN_NAMES]) + (" " + _("and {n} more", n=more) if more > 0 else "")


def _count(number: int, noun: str) -> str:
    from shortpencil.scan.review.naming import count_said

    return count_said(number, noun, grouped=False)
