"""The published JSON of what is stored, one function for each command with `--json`; plain types only.

A round's own JSON is the matter of `record_json`, a reading's of `scan.reading`. Nothing here opens a store.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import asdict
from typing import TYPE_CHECKING, Any, Literal

if TYPE_CHECKING:
    from pathlib import Path

    from shortpencil.scan.reading import CardReading
    from shortpencil.scan.records.backup import Contents
    from shortpencil.scan.records.belonging.forgetting import Traces
    from shortpencil.scan.records.belonging.hands import KeptHand
    from shortpencil.scan.records.belonging.sheets import SheetRound
    from shortpencil.scan.records.composing.other_sheets import OtherSheet
    from shortpencil.scan.records.composing.rounds import Round
    from shortpencil.scan.records.listed import Listed
    from shortpencil.scan.records.storing.summary import Summary, Undated
    from shortpencil.scan.records.storing.told import ToldSession

#: Version of the JSON that the commands print; `read --json` has that of readings.
SCHEMA = 1

#: What became of a round that was taken out.
State = Literal["set aside", "deleted", "back"]


def cards_json(cards: Iterable[Mapping[str, Any]]) -> dict[str, Any]:
    """Return cards as `card_json` gives them (`read --json`)."""
    from shortpencil.scan.reading import READING_SCHEMA

    return {"schema": READING_SCHEMA, "cards": list(cards)}


def card_json(
    reading: CardReading, round_: Round | None = None, rows: Sequence[Mapping[str, Any]] | None = None
) -> dict[str, Any]:
    """Return one card as it is stored (`read --json`, element of ``cards``).

    Parameters
    ----------
    round_ : the round that the card became, if it did
    rows : what is on a sheet that is no round, as `rows_of` gives it
    """
    from shortpencil.scan.reading import reading_to_json
    from shortpencil.scan.records.recording.record_json import round_to_json

    card = reading_to_json(reading, round_to_json(round_) if round_ else None)
    return card if rows is None else {**card, "rows": list(rows)}


def rows_of(sheets: Iterable[OtherSheet], serial: str) -> list[dict[str, Any]]:
    """Return the rows of that one of the sheets, with the answers that were given about it."""
    return [row for sheet in sheets if sheet.serial == serial for row in _rows(sheet)]


def listed_json(found: Listed) -> dict[str, Any]:
    """Return the list of rounds and other sheets (`rounds --json`)."""
    return {
        "schema": SCHEMA,
        "rounds": [line_json(line, found.undated.get(line.id)) for line in found.rounds],
        "sheets": [_other(other) for other in found.sheets],
    }


def line_json(line: Summary, undated: Undated | None = None) -> dict[str, Any]:
    """Return one round of the list; `undated` is what is said of its day where that is not known."""
    return {
        "id": line.id,
        "day": line.played_on.isoformat() if line.played_on else None,
        "perhaps_day": undated.perhaps.isoformat() if undated and undated.perhaps else None,
        "player": line.player,
        "course": line.course,
        "layout": line.layout,
        "holes": line.holes,
        "holes_scored": line.holes_scored,
        "score": line.score,
        "over_par": line.over_par,
        "misses": dict(line.misses),
        "waiting": line.waits,
    }


def sheet_json(
    sheet: Iterable[SheetRound],
    lines: Mapping[str, Summary],
    undated: Mapping[str, Undated],
    others: Mapping[str, OtherSheet],
) -> dict[str, Any]:
    """Return the rounds of one sheet with their photos (`rounds SERIAL --json`).

    Parameters
    ----------
    lines, undated, others : by serial, as the store gives them
    """
    shown = [
        {
            "id": one.serial,
            "round": line_json(lines[one.serial], undated.get(one.serial)) if one.serial in lines else None,
            **({"fields": _rows(others[one.serial])} if one.serial in others else {}),
            "photos": [asdict(photo) for photo in one.photos],
        }
        for one in sheet
    ]
    return {"schema": SCHEMA, "sheet": shown}


def exported_json(rounds: int, sheets: int, waiting: int, files: Iterable[Path]) -> dict[str, Any]:
    """Return how much was exported, and into which files (`export --json`)."""
    counts = {"rounds": rounds, "sheets": sheets, "waiting": waiting}
    return {"schema": SCHEMA, **counts, "files": [str(path) for path in files]}


def imported_json(outcomes: Mapping[str, Mapping[str, str]], *, dry_run: bool) -> dict[str, Any]:
    """Return what became of the rounds of each file, file -> round -> outcome (`import --json`)."""
    listed = [{"file": path, "rounds": dict(became)} for path, became in outcomes.items()]
    return {"schema": SCHEMA, "dry_run": dry_run, "files": listed}


def aside_json(rounds: Iterable[tuple[str, str, State]]) -> dict[str, Any]:
    """Return rounds that were taken out or put back (`aside --json`, `delete --json`).

    Parameters
    ----------
    rounds : of each its serial, what it is in a few words, and what became of it
    """
    listed = [{"id": serial, "says": says, "state": state} for serial, says, state in rounds]
    return {"schema": SCHEMA, "rounds": listed}


def waiting_json(serial: str, places: Iterable[tuple[str, str, Sequence[str]]]) -> dict[str, Any]:
    """Return what waits on a card: of each place its name, words and options (`answer --json`)."""
    waiting = [{"place": name, "says": says, "options": list(options)} for name, says, options in places]
    return {"schema": SCHEMA, "id": serial, "waiting": waiting}


def hands_json(hands: Iterable[KeptHand]) -> dict[str, Any]:
    """Return what is kept of players' hands (`hand --json`)."""
    return {"schema": SCHEMA, "hands": [hand_json(kept) for kept in hands]}


def hand_json(kept: KeptHand) -> dict[str, Any]:
    """Return what is kept of one player's hand."""
    return {
        "player": kept.player,
        "digits": {
            str(digit): {"person": person, "sums": sums} for digit, (person, sums) in kept.by_digit.items()
        },
        "untold": kept.untold,
        "bytes": kept.size_bytes,
        "off": kept.off,
    }


def forgotten_json(player: str, found: Traces, printed_cards: int, *, dry_run: bool) -> dict[str, Any]:
    """Return how much was erased of a player, or in a dry run would be (`forget --json`)."""
    head = {"schema": SCHEMA, "player": player, "dry_run": dry_run}
    return {**head, **asdict(found), "printed_cards": printed_cards}


def sessions_json(sessions: Iterable[ToldSession]) -> dict[str, Any]:
    """Return sessions of practice told by hand (`practised --json`)."""
    return {"schema": SCHEMA, "sessions": [session_json(session) for session in sessions]}


def session_json(session: ToldSession) -> dict[str, Any]:
    """Return one session of practice told by hand."""
    return {
        "number": session.number,
        "day": session.day.isoformat(),
        "phase": session.phase,
        "minutes": session.minutes,
        "player": session.player,
    }


def checked_json(damage: Sequence[str]) -> dict[str, Any]:
    """Return what is wrong with a store, a line each (`check --json`)."""
    return {"schema": SCHEMA, "sound": not damage, "damage": list(damage)}


def contents_json(made: Contents) -> dict[str, Any]:
    """Return what a backup holds (`backup --json`, `restore --json`)."""
    return {
        "schema": SCHEMA,
        "made_at": made.made_at.isoformat(),
        "rounds": made.rounds,
        "cards": made.cards,
        "forms": made.forms,
        "printed_cards": made.printed_cards,
    }


def _other(other: OtherSheet) -> dict[str, Any]:
    return {
        "id": other.serial,
        "form": other.form.name,
        "title": other.form.title,
        "day": other.day.isoformat() if other.day else None,
        "player": other.player,
        "answered": other.answered,
        "waiting": len(other.waiting),
    }


def _rows(other: OtherSheet) -> list[dict[str, Any]]:
    from shortpencil.scan.records.composing.other_sheets import field_rows

    return list(field_rows(other))
