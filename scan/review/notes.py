"""Words that players wrote and typed out, found again. Pure."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from shortpencil.forms.rules import phase_said
from shortpencil.scan.language import _
from shortpencil.scan.records.composing.rounds import Round

MOST_FOUND = 200


@dataclass(frozen=True, slots=True)
class Note:
    """Own words of one place: `before`, `match` and `after` are the words around what was looked for."""

    round_id: str
    where: str
    before: str
    match: str
    after: str


def notes_of(round_: Round) -> list[tuple[str, str]]:
    """Return the typed words of a round with their place, in the order of the card."""
    found = [
        (_("hole {n}, {phase}", n=hole.number, phase=phase_said(throw.phase)), throw.words)
        for hole in round_.holes
        for throw in hole.throws
        if throw.words
    ]
    for key, text in round_.notes.items():
        if text != "see the picture" and not key.endswith((".way", ".forehand", ".why")):
            found.append((_("one thing to work on") if key == "resolve" else _place(key), text))
    return found


def search(rounds: Iterable[Round], asked: str) -> list[Note]:
    """Return every note that holds what was asked for, newest round first; in upper or lower case."""
    wanted = " ".join(asked.split()).casefold()
    if not wanted:
        return []
    found = []
    for round_ in reversed(tuple(rounds)):
        for where, text in notes_of(round_):
            at = _find(text, wanted)
            if at is not None:
                found.append(Note(round_.id, where, text[: at[0]], text[at[0] : at[1]], text[at[1] :]))
            if len(found) == MOST_FOUND:
                return found
    return found


def _find(text: str, wanted: str) -> tuple[int, int] | None:
    """Return from where to where a text holds what is wanted; casefolding may change how long it is."""
    folded = [sign.casefold() for sign in text]
    starts = [0]
    for part in folded:
        starts.append(starts[-1] + len(part))
    at = "".join(folded).find(wanted)
    if at < 0:
        return None
    first = max(i for i, start in enumerate(starts) if start <= at)
    last = min(i for i, start in enumerate(starts) if start >= at + len(wanted))
    return first, last


def _place(key: str) -> str:
    row = key.partition(".")[0]
    if row[:1] == "h" and row[1:].isdigit():
        return _("hole {n}", n=int(row[1:]))
    return key.replace(".", ", ")
